"""Tern Hollow, an invented nursery: its site file, its care plans and one recorded night."""
