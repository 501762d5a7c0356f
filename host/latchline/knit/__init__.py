"""A session: a host, a plan, a knitter, and the journal of it."""
