"""The name by which pySerial finds the emulated chip."""

from boards.ports import EmulatedPort as Serial

__all__ = ["Serial"]
