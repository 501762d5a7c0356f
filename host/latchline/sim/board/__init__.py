"""The model board: the executable form of `docs/protocol.md`."""
