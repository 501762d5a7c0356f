"""The line to the board: frames, messages, and the host's end of the conversation."""
