"""People and time: records, the watch, messages, pages and the command line."""
