"""The far end of the wire, and what is on the air, for tests, demonstrations and trial runs."""
