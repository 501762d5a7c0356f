"""The cautions in short, printed by `knit` and `doctor` the first time on a port, and by `sheet`.

`hardware/SAFETY.md` repeats each sentence word for word with its reason; a test holds the two together.
"""

from __future__ import annotations

SHORT_CAUTIONS: tuple[str, ...] = (
    "Feed the coils only from an isolated, certified extra-low-voltage supply of limited current, "
    "through a fuse; leave mains parts to a licensed electrician and your local code.",
    "Switch off, unplug and let stored charge run down before you open the machine or touch a wire.",
    "Fit every coil's clamp before first power, and never join the coil supply to USB.",
    "Coils and drivers can be hot enough to burn: let them cool before you touch them.",
    "Keep fingers, hair, sleeves and cords clear of the moving carriage and the latch needles.",
    "Keep coils and magnets away from anybody with a pacemaker or another implant, and the machine "
    "away from small children and damp.",
    "The board switches coils off when it is unsure, but a short or a stuck driver is the fuse's job: "
    "this is hobby information, not a certified product, so stay with it while it is powered.",
)
