"""The name by which pySerial finds the firmware's core on this computer."""

from boards.ports import NativePort as Serial

__all__ = ["Serial"]
