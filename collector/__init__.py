"""What was measured, kept raw. It never judges whether a value is bad for a plant."""
