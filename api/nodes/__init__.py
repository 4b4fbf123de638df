"""Several processes over one set of records: who is alive, and who sees to which house."""
