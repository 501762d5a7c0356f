"""Boards made of the firmware: the core compiled for this computer, and the chip's own image under an emulator."""
