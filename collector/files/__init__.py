"""Recorded files: what a logger wrote, found out, shown, and kept as readings."""
