"""Labels to print: how a sheet is laid out, and what is drawn on it."""
