"""What may happen tonight and who goes; at dawn, what happened and what to do first."""
