"""What is good or bad for a grafted batch: values in, values out, no clock and no I/O."""
