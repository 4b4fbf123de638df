"""The watch: feeds readings to the evaluator and keeps what it says."""
