"""The board's own time: ticks of 4 µs and milliseconds since its start."""

from __future__ import annotations

from dataclasses import dataclass

from latchline.link.messages import TICK_US

MS_US = 1000


@dataclass
class Clock:
    """now_us: the world's time; started_us: that of the board's last start."""

    now_us: int = 0
    started_us: int = 0

    def tick(self, at_us: int | None = None) -> int:
        return ((self.now_us if at_us is None else at_us) - self.started_us) // TICK_US

    def ms(self, at_us: int | None = None) -> int:
        """The newest beat of the millisecond timer."""
        return ((self.now_us if at_us is None else at_us) - self.started_us) // MS_US

    def on_beat(self) -> bool:
        """Is this a beat?"""
        return (self.now_us - self.started_us) % MS_US == 0

    def beat_before(self) -> int:
        """The last beat before now; one at this very instant comes after."""
        return -(-(self.now_us - self.started_us) // MS_US) - 1

    def beat_us(self, beat: int) -> int:
        """The world's time of a beat."""
        return self.started_us + beat * MS_US
