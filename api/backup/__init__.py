"""Backups: made beside what runs, tried by restoring them, put in place, made by themselves."""
