"""Where pySerial looks for the handlers of `emu://` and `native://`."""
