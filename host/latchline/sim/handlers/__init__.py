"""Where pySerial looks for the handler of `sim://`."""
