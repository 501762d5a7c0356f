"""The name by which pySerial finds the simulator."""

from latchline.sim.port import SimPort as Serial

__all__ = ["Serial"]
