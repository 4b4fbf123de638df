"""One file per step, in order."""
