"""What a message says, and why it was refused. One file per way of writing a message."""
