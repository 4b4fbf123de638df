"""The guard: looks after the tool itself, from a thread that goes on when the others hang."""
