"""What people write in TOML files: where each field stands, and plain words for what is wrong."""
