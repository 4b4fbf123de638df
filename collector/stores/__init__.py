"""Where readings are kept, and what every such place promises."""
