"""What the house knows about alarms and people, in SQL."""
