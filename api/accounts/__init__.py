"""Who may sign in, with what, and who may do what."""
