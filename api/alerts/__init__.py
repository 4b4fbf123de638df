"""Messages owed to people: kept, sent, retried, recorded."""
