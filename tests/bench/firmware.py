"""The firmware on the emulated chip, beside what a well-known open motion controller publishes about itself.

Every figure here is emulated. grbl's own page says up to 30,000 steps a second and, in `stepper.c`, 25 µs as the
worst case of its step interrupt, on the same processor at the same clock.
"""

from __future__ import annotations

from boards import chip

GRBL_STEPS = "grbl publishes 30,000 steps/s"
GRBL_US = "grbl publishes 25 µs"
CYCLES_A_US = 16
RATES = (60_000, 80_000, 90_000, 92_000, 95_000, 100_000, 102_000, 105_000, 110_000)
PASS_RATES = (4_000, 6_000, 7_000, 7_500, 8_000, 8_500, 9_000, 9_500, 10_000, 11_000)


def rows() -> list[tuple[str, str, str]]:
    lacking = chip.missing()
    if lacking:
        return [("emulated chip", "left out", f"there is no {lacking}")]
    from firmware import measure

    told = []
    for name, full in (("line idle", False), ("line full", True)):
        latency = measure.latency(2.0, full)
        for what, cycles, most in (("median", latency.median, 32), ("worst", latency.worst, 128)):
            measured = f"{cycles} cycles, {cycles / CYCLES_A_US:.1f} µs"
            told.append((f"edge to latched selector, {name}, {what} (emulated)", measured, f"≤ {most}; {GRBL_US}"))
    for name, full in (("line full", True), ("line idle", False)):
        kept = [rate for rate in RATES if measure.rate(rate, full_line=full).nothing_lost]
        told.append(
            (
                f"edges/s counted, {name}, nothing lost (emulated)",
                f"{max(kept, default=0):,}",
                f"≥ {90_000 if full else 100_000:,}; {GRBL_STEPS}",
            )
        )
    for name, full in (("line idle", False), ("line full", True)):
        right = [rate for rate in PASS_RATES if measure.pass_rate(rate, full).digest_right]
        told.append(
            (
                f"edges/s within a pass, {name} (emulated)",
                f"{max(right, default=0):,}",
                f"≥ {6_000 if full else 9_000:,}; fast hand: 1,333",
            )
        )
    sizes, (bound, _) = measure.sizes(), measure.stack_bound()
    told.append(("flash", f"{sizes.flash:,} bytes", "≤ 24,576"))
    told.append(("static RAM", f"{sizes.static_ram:,} bytes", ""))
    told.append(("stack: bound from the disassembly", f"{bound} bytes", ""))
    told.append(("stack: painted RAM (emulated)", f"{measure.stack_painted()} bytes", "within the bound"))
    told.append(("static RAM and stack", f"{sizes.static_ram + bound:,} bytes", "≤ 1,960"))
    return told
