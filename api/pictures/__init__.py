"""Pictures that go with messages: one batch around its alarm, or the ribbons of a house."""
