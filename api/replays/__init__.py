"""A record judged again: for the command line, and in the background for pages and programs."""
