"""The forms the tables have had, one step each, run by `api.records.session`."""
