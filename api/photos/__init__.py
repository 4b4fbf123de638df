"""Photos that go with what was seen: made safe and small, kept, and removed by a lead."""
