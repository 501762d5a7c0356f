"""The sums behind coils, drivers, supply and fuse, each beside its limit and the limit's source.

`make_budget` takes a profile and the masks of a piece and gives a `Budget`: a row for each selector
and a line for each limit, with the verdict `ok`, `look` (allowed, but read the note) or `no` (breaks
a rating or the timing). Worst cases are taken where a rating is at stake: high supply and cold coil
for currents and release, low supply and hot coil for pull-in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from latchline.budget import coil
from latchline.budget.lines import Line, at_least, at_most
from latchline.errors import ProfileError
from latchline.machine.demand import Demand, Masks, measure_demand, needing_current, selector_share
from latchline.machine.electrical import Electrical, read_electrical
from latchline.machine.parts import Part, load_part
from latchline.machine.profile import ADVANCE_MARGIN, LATENCY_MS, Profile
from latchline.machine.sense import current_pin_v, supply_pin_v, watch_low_v

COLD_C = 20.0
PACE_ROWS_MIN = 30.0  # a steady hand; 20 to 60 is common (memory)


@dataclass(frozen=True)
class SelectorBudget:
    """One selector. Times in ms; None where the coil never pulls in. Duty: of the piece, and of its busiest pass."""

    selector: int
    duty: float
    duty_pass: float
    temperature_c: float
    steady_a: float
    pull_in_cold_ms: float
    pull_in_hot_ms: float | None
    pull_in_low_ms: float | None
    release_cold_ms: float
    release_hot_ms: float
    release_high_ms: float
    lead_needles: int | None


@dataclass(frozen=True)
class Drive:
    """One coil under current: the current it settles at, its own resistance, and that with the driver's."""

    steady_a: float
    coil_ohm: float
    loop_ohm: float


@dataclass(frozen=True)
class Budget:
    """cold, worst: a cold coil on the full supply; the hottest one on the lowest, less all drops.

    fuse_a: the profile's fuse, or the smallest standard one that keeps every limit; None where there is none.
    """

    profile: Profile
    electrical: Electrical
    driver: Part
    demand: Demand
    of_piece: bool
    selectors: tuple[SelectorBudget, ...]
    lines: tuple[Line, ...]
    interval_ms: float
    safe_m_s: float
    fuse_a: float | None
    net_clamp_v: float
    cold: Drive
    worst: Drive

    @property
    def verdict(self) -> str:
        """The worst verdict of any line."""
        return max((line.verdict for line in self.lines), key=("ok", "look", "no").index)

    @property
    def busiest(self) -> SelectorBudget:
        return max(self.selectors, key=lambda one: one.duty_pass)


def make_budget(
    profile: Profile,
    masks: Masks | None = None,
    first_needle: int = 0,
    pace_rows_min: float = PACE_ROWS_MIN,
    rightward: Masks | None = None,
) -> Budget:
    """The budget of a profile for a piece's masks; without masks, for every needle selected on every pass.

    Raises ProfileError where the profile has no electrical table or one that makes no sense.
    """
    electrical = read_electrical(profile)
    of_piece = masks is not None
    if masks is None:
        masks = needing_current(profile, np.ones((2, profile.needles), dtype=np.bool_))  # every coil for every needle
    demand = measure_demand(profile, masks, first_needle, pace_rows_min, rightward)
    return _Sums(profile, electrical, demand, of_piece).budget()


class _Sums:
    """The working of one budget: quantities that several lines share, then the lines by subject."""

    def __init__(self, profile: Profile, electrical: Electrical, demand: Demand, of_piece: bool) -> None:
        self.profile, self.electrical, self.demand, self.of_piece = profile, electrical, demand, of_piece
        self.driver, self.supply, self.board = (load_part(name) for name in (electrical.driver, "supply", "board"))
        self.highest_a = electrical.high_v / electrical.resistance_ohm
        self.peak_a = self.highest_a * demand.at_once_fastest
        wire = self.supply.value(f"awg{electrical.wire_awg:.0f}_ohm_per_km") * 2 * electrical.wire_m / 1000
        self.wire_v = wire * self.peak_a
        self.shunt_v = self.board.value("shunt_ohm") * self.peak_a
        self.diode_v = self.supply.value("diode_v")
        self.net_clamp_v = self._net_clamp_v()
        self.interval_ms = coil.needle_interval_ms(profile.pitch_mm, demand.peak_m_s)
        self.selectors = tuple(self._selector(n) for n in range(profile.selectors.count))
        self.worst = max(self.selectors, key=lambda one: one.temperature_c)
        self.act_ms = self._act_ms()
        self.safe_m_s = self._safe_m_s()
        self.chosen_a = None if electrical.fuse_a else self._passing_fuse_a()
        self.fuse_a = electrical.fuse_a or self.chosen_a or self._carrying_fuse_a()

    def budget(self) -> Budget:
        parts: tuple[Callable[[], list[Line]], ...] = (
            self._timing, self._coil, self._driver, self._clamp, self._supply, self._fuse, self._held, self._board,
        )  # fmt: skip
        return Budget(
            profile=self.profile,
            electrical=self.electrical,
            driver=self.driver,
            demand=self.demand,
            of_piece=self.of_piece,
            selectors=self.selectors,
            lines=tuple(line for part in parts for line in part()),
            interval_ms=self.interval_ms,
            safe_m_s=self.safe_m_s,
            fuse_a=self.electrical.fuse_a or self.chosen_a,
            net_clamp_v=self.net_clamp_v,
            cold=self._drive(self.electrical.supply_v, COLD_C),
            worst=self._drive(self._low_v(), self.worst.temperature_c),
        )

    # --- quantities -------------------------------------------------------------------------

    def _on_ohm(self) -> float:
        return self.driver.most_on_ohm

    def steady_a(self, supply_v: float, celsius: float) -> float:
        """Steady current with the driver at its worst; its drop and the current are found together."""
        resistance_ohm = coil.resistance_at_ohm(self.electrical.resistance_ohm, celsius)
        current_a = supply_v / resistance_ohm
        for _ in range(40):
            drop_v = self.driver.drop_v(current_a)
            current_a = coil.steady_current_a(
                supply_v, resistance_ohm, drop_v=min(drop_v, supply_v * 0.99), on_ohm=self._on_ohm()
            )
        return current_a

    def _drive(self, supply_v: float, celsius: float) -> Drive:
        coil_ohm = coil.resistance_at_ohm(self.electrical.resistance_ohm, celsius)
        return Drive(self.steady_a(supply_v, celsius), coil_ohm, coil_ohm + self._on_ohm())

    def _pull_in_ms(self, supply_v: float, celsius: float) -> float | None:
        drive, pull_in_a = self._drive(supply_v, celsius), self.electrical.pull_in_a
        if drive.steady_a <= pull_in_a:
            return None
        return coil.pull_in_ms(drive.steady_a, pull_in_a, drive.loop_ohm, self.electrical.inductance_h)

    def _release_ms(self, supply_v: float, celsius: float) -> float:
        resistance_ohm = coil.resistance_at_ohm(self.electrical.resistance_ohm, celsius)
        return coil.release_ms(
            supply_v / resistance_ohm,
            self.electrical.drop_out_a,
            resistance_ohm,
            self.electrical.inductance_h,
            self.net_clamp_v,
        )

    def _net_clamp_v(self) -> float:
        match self.electrical.clamp:
            case "zener":  # the lower end of its tolerance: the slower release
                return self.electrical.clamp_v * (1 - self.supply.value("zener_share")) + self.diode_v
            case "diode":
                return self.diode_v
        return max(self.driver.value("blocking_v") - self.electrical.high_v, 0.0)

    def _low_v(self) -> float:
        return max(self.electrical.low_v - self.wire_v - self.shunt_v, 0.1)

    def _temperature_c(self, duty: float) -> float:
        electrical = self.electrical
        ambient_c = electrical.ambient_c
        return ambient_c + coil.heating_k(
            duty, electrical.coil_k_per_w, electrical.high_v, electrical.resistance_ohm, ambient_c
        )

    def _selector(self, number: int) -> SelectorBudget:
        electrical, duty_pass = self.electrical, float(self.demand.duty_pass[number])
        hot_c = self._temperature_c(duty_pass)
        cold_ms = self._pull_in_ms(electrical.supply_v, COLD_C)
        if cold_ms is None:
            raise ProfileError(
                f"through this driver the coil settles at {self.steady_a(electrical.supply_v, COLD_C):.3g} A, "
                f"so it can never reach its pull-in current of {electrical.pull_in_a:g} A",
                where=f'profile {self.profile.name}, [electrical], key "pull_in_a"',
                hint="raise supply_v, choose a driver that drops less, or measure the coil again",
            )
        low_ms = self._pull_in_ms(self._low_v(), hot_c)
        high_ms = self._release_ms(electrical.high_v, COLD_C)
        acting_ms = high_ms if self.profile.selectors.active == "low" else low_ms
        lead = None
        if acting_ms is not None:
            act_ms = acting_ms + self.profile.selectors.mechanical_ms + LATENCY_MS
            lead = coil.lead_needles(act_ms, self.interval_ms)
        return SelectorBudget(
            selector=number,
            duty=float(self.demand.duty[number]),
            duty_pass=duty_pass,
            temperature_c=hot_c,
            steady_a=self.steady_a(electrical.supply_v, COLD_C),
            pull_in_cold_ms=cold_ms,
            pull_in_hot_ms=self._pull_in_ms(electrical.supply_v, hot_c),
            pull_in_low_ms=low_ms,
            release_cold_ms=self._release_ms(electrical.supply_v, COLD_C),
            release_hot_ms=self._release_ms(electrical.supply_v, hot_c),
            release_high_ms=high_ms,
            lead_needles=lead,
        )

    def _room(self) -> tuple[int, int]:
        """Edges from one use of a selector to its next, and those it is held on after its needle."""
        return selector_share(self.profile) * self.profile.edges_per_needle, self.profile.selectors.hold_edges

    def _act_ms(self) -> float:
        """The advance the coil needs: the profile's own, or more where the worst pull-in is slower."""
        acting_ms, _ = self._act_and_return_ms()
        if acting_ms is None:
            return float("inf")
        needed = (acting_ms + self.profile.selectors.mechanical_ms) * ADVANCE_MARGIN + LATENCY_MS
        return max(needed, self.profile.advance_us / 1000)

    def _act_and_return_ms(self) -> tuple[float | None, float | None]:
        """Worst time to select and to come back: pull-in and release, or the reverse where active low."""
        pull_ms = self.worst.pull_in_low_ms
        release_ms = max(self.worst.release_high_ms, self.worst.release_hot_ms)
        return (release_ms, pull_ms) if self.profile.selectors.active == "low" else (pull_ms, release_ms)

    def _safe_m_s(self) -> float:
        """Above this a selector is still busy with one needle when its next one is due (mm/ms is m/s)."""
        room, hold = self._room()
        _, back_ms = self._act_and_return_ms()
        if back_ms is None:
            return 0.0
        act_m_s = max(room - hold - 1, 0) * self.profile.edge_mm / self.act_ms
        return_ms = back_ms + self.profile.selectors.mechanical_ms
        return_m_s = (room - hold) * self.profile.edge_mm / return_ms if return_ms else act_m_s
        return min(act_m_s, return_m_s)

    def _passing_fuse_a(self) -> float | None:
        """The smallest standard fuse of which no line says no."""
        passing = (
            rating for rating in self.supply.fuses_a if all(line.verdict != "no" for line in self._fuse_lines(rating))
        )
        return next(passing, None)

    def _carrying_fuse_a(self) -> float:
        """The smallest standard fuse that the peak loads to no more than its share, else the largest."""
        needed_a, ratings_a = self.peak_a / self.supply.value("fuse_share"), self.supply.fuses_a
        return next((rating for rating in ratings_a if rating >= needed_a), ratings_a[-1])

    # --- lines ------------------------------------------------------------------------------

    def _timing(self) -> list[Line]:
        selectors, worst, safe = self.profile.selectors, self.worst, self.safe_m_s
        ours = "this profile's"
        fastest = self.profile.speed_max_m_s
        pace = self.demand.pace_rows_min * fastest / self.demand.peak_m_s
        pull = (selectors.pull_in_ms, f"{ours} pull_in_ms, which the board allows for")
        drop = (selectors.release_ms, f"{ours} release_ms")
        if selectors.active == "low":  # the coil lets go to select, and pulls in to come back
            pull, drop = drop, pull
        return [
            at_most("pull-in, cold", worst.pull_in_cold_ms, "ms", *pull),
            at_most("pull-in, hot coil", worst.pull_in_hot_ms, "ms", *pull),
            at_most(
                "pull-in, hot coil and low supply", worst.pull_in_low_ms, "ms", *pull,
                note="" if worst.pull_in_low_ms else "the coil never pulls in: raise the supply or lower the duty",
            ),
            at_most("release, cold", worst.release_cold_ms, "ms", *drop),
            at_most("release, hot coil", worst.release_hot_ms, "ms", *drop),
            at_most("release, cold coil and high supply", worst.release_high_ms, "ms", *drop),
            at_most("lead at this pace", worst.lead_needles, "needles", selector_share(self.profile),
                    f"{ours} selector layout: needles from one use of a selector to its next"),
            at_most("carriage speed at this pace, peak", self.demand.peak_m_s, "m/s", fastest, f"{ours} speed_max_m_s",
                    verdict="look", note=f"across this width knit at {int(pace)} rows a minute at most"),
            at_least("carriage speed that the selectors can follow", safe, "m/s", self.profile.speed_max_m_s,
                     f"{ours} speed_max_m_s, above which the board stops"),
        ]  # fmt: skip

    def _coil(self) -> list[Line]:
        hot_c, winding_c = self.worst.temperature_c, self.supply.value("winding_c")
        left_on_c = self._temperature_c(1.0)
        winding, touch = self.supply.source("winding_c"), self.supply.source("touch_c")
        return [
            at_most("coil temperature, busiest pass kept up", hot_c, "°C", winding_c, winding),
            at_most("coil within reach of a finger", hot_c, "°C", self.supply.value("touch_c"), touch,
                    verdict="look", note="guard it or let it cool before touching"),
            at_most("coil left on for good", left_on_c, "°C", winding_c, winding, verdict="look",
                    note="only the board's timer prevents this; one stuck output does not open the fuse"),
        ]  # fmt: skip

    def _driver(self) -> list[Line]:
        driver = self.driver
        outputs = int(min(driver.value("outputs"), self.profile.selectors.count))
        shares = np.sort(self.demand.duty_pass)[::-1][:outputs]
        one_w = self.highest_a * (driver.drop_v(self.highest_a) + self.highest_a * self._on_ohm())
        thermal, ambient_c = driver.value("thermal_k_per_w"), self.electrical.ambient_c
        limit_c, source = driver.value("junction_c"), driver.source("junction_c")
        lift_v = self.board.value("star_ohm") * self.highest_a * outputs
        rail_a = sum(self.board.value(name) for name in ("sensors_a", "buzzer_a", "logic_a"))
        rail_v = self.board.value("usb_low_v") - self.board.value("guard_ohm") * rail_a
        return [
            at_most("coil current, cold coil and high supply", self.highest_a, "A", driver.value("output_a"),
                    driver.source("output_a")),
            at_most("driver heat, busiest pass", one_w * float(shares.sum()), "W", (limit_c - ambient_c) / thermal,
                    driver.source("thermal_k_per_w")),
            at_most("driver junction, busiest pass kept up", ambient_c + thermal * one_w * float(shares.sum()), "°C",
                    limit_c, source),
            at_most("driver junction, every output on", ambient_c + thermal * one_w * outputs, "°C", limit_c, source,
                    note="a board that hangs can switch every output on until its watchdog acts"),
            at_least("driver supply, lowest USB voltage and every output on", rail_v - lift_v, "V",
                     driver.value("supply_low_v"), driver.source("supply_low_v"), verdict="look",
                     note="plug the board into the computer itself, not into a hub without a supply of its own"),
            at_most("driver input below its ground, every output on", lift_v, "V", driver.value("below_ground_v"),
                    driver.source("below_ground_v"), note="the coils' current lifts the drivers' ground: "
                    f"{self.board.source('star_ohm')}"),
        ]  # fmt: skip

    def _clamp(self) -> list[Line]:
        electrical, driver, supply = self.electrical, self.driver, self.supply
        own = electrical.clamp == "driver"
        zener_v = electrical.clamp_v * (1 + supply.value("zener_share")) if electrical.clamp == "zener" else 0.0
        peak_v = (
            max(driver.value("blocking_v"), electrical.high_v) if own else electrical.high_v + zener_v + self.diode_v
        )
        energy_mj, clamp_v = 0.0, max(self.net_clamp_v, zener_v + self.diode_v if zener_v else 0.0)
        if clamp_v > 0:
            energy_mj = coil.clamp_energy_mj(
                self.highest_a, electrical.resistance_ohm, electrical.inductance_h, clamp_v,
                driver.value("blocking_v") if own else None,
            )  # fmt: skip
        releases_s = float(self.demand.duty_pass.max()) / (self.demand.on_ms / 1000)
        lines = [
            at_most("peak voltage at the driver", peak_v, "V", supply.value("clamp_total_v"),
                    supply.source("clamp_total_v"),
                    note="the driver's own clamp is not enough: fit zener and diode beside each coil" if own else ""),
            at_most("peak voltage against the driver's rating", peak_v, "V", driver.value("blocking_v"),
                    driver.source("blocking_v")),
            at_most("current through a clamp diode", self.highest_a, "A", supply.value("clamp_diode_a"),
                    supply.source("clamp_diode_a")),
        ]  # fmt: skip
        if own and "clamp_mj" not in driver.ratings:
            lines.append(
                Line("clamp energy of one release", energy_mj, "mJ", "at most", 0.0, "no", driver.title,
                     "this driver has no clamp of its own: fit one beside each coil")
            )  # fmt: skip
        elif own:
            lines.append(at_most("clamp energy of one release", energy_mj, "mJ", driver.value("clamp_mj"),
                                 driver.source("clamp_mj")))  # fmt: skip
        else:
            lines.append(
                at_most("clamp energy of one release", energy_mj, "mJ",
                        supply.value("zener_mj"), supply.source("zener_mj"))
            )  # fmt: skip
            lines.append(at_most("clamp heat, busiest selector", energy_mj * releases_s / 1000, "W",
                                 supply.value("zener_w"), supply.source("zener_w")))  # fmt: skip
        return lines

    def _supply(self) -> list[Line]:
        electrical, supply = self.electrical, self.supply
        limit = "this profile's supply_limit_a"
        of_all = f"of {self.profile.selectors.count} selectors at once"
        mean_a = self.demand.mean_at_once * self.steady_a(electrical.supply_v, COLD_C)
        return [
            at_most("supply voltage", electrical.high_v, "V", supply.value("selv_v"), supply.source("selv_v")),
            at_most("supply current, peak at this pace", self.highest_a * self.demand.at_once, "A",
                    electrical.supply_limit_a, limit, note=f"{self.demand.at_once} {of_all}"),
            at_most("supply current, peak at the highest speed", self.peak_a, "A", electrical.supply_limit_a, limit,
                    note=f"{self.demand.at_once_fastest} {of_all}"),
            at_most("supply current, mean", mean_a, "A", electrical.supply_limit_a, limit),
            at_most("supply current limit", electrical.supply_limit_a, "A",
                    min(supply.value("source_a"), supply.value("source_va") / electrical.high_v),
                    supply.source("source_a"), note="what can deliver much can heat much: take a smaller supply"),
            at_most("short-circuit current the fuse can break", electrical.supply_limit_a, "A",
                    supply.value("fuse_break_a"), supply.source("fuse_break_a")),
            at_most("wire drop, there and back", self.wire_v, "V",
                    supply.value("wire_drop_share") * electrical.supply_v, supply.source("wire_drop_share"),
                    note=f"{supply.source(f'awg{electrical.wire_awg:.0f}_ohm_per_km')}, AWG {electrical.wire_awg:.0f}"),
        ]  # fmt: skip

    def _fuse(self) -> list[Line]:
        note = ""
        if not self.electrical.fuse_a and self.chosen_a is None:
            note = "no standard rating keeps every limit: this is the smallest that carries the peak"
        return self._fuse_lines(self.fuse_a, note)

    def _fuse_lines(self, fuse_a: float, note: str = "") -> list[Line]:
        """Every line that rests on the fuse's rating."""
        electrical, supply = self.electrical, self.supply
        weakest_a, weakest = min(
            (supply.value(name), supply.source(name))
            for name in (f"awg{electrical.wire_awg:.0f}_a", "socket_a", "switch_a", "terminal_a", "guard_diode_a")
        )
        lasting_a = min(supply.value("fuse_carry") * fuse_a, electrical.supply_limit_a)
        behind = note or f"it may carry {supply.value('fuse_open'):g} times the fuse's rating for minutes"
        return [
            at_least("fuse rating", fuse_a, "A", self.peak_a / supply.value("fuse_share"), supply.source("fuse_share"),
                     note=note),
            at_most("fuse rating, for what lies behind it", fuse_a, "A", weakest_a / supply.value("fuse_open"), weakest,
                    note=behind),
            at_least("short-circuit current against the fuse", electrical.supply_limit_a / fuse_a, "times its rating",
                     supply.value("fuse_open"), supply.source("fuse_open"), verdict="look",
                     note="this supply may not open the fuse: its own limit must end a short; one that limits by "
                     "switching off and on again may never open any fuse"),
            at_most("board trace for the fuse's rating", coil.trace_mm(fuse_a, supply.value("trace_rise_k")), "mm",
                    supply.value("strip_mm"), "IPC-2221, outer layer of 1 oz, 10 K rise; " + supply.source("strip_mm")),
            at_most("shunt heat, as much as the fuse carries", self.board.value("shunt_ohm") * lasting_a**2, "W",
                    supply.value("shunt_w"), supply.source("shunt_w")),
        ]  # fmt: skip

    def _held(self) -> list[Line]:
        """Volts and heat of the parts around the supply."""
        electrical, supply, high_v = self.electrical, self.supply, self.electrical.high_v
        mean_a = self.demand.mean_at_once * self.highest_a
        shunt_ohm = self.board.value("shunt_ohm")
        # Squared and then averaged, a current that comes in steps heats more than its mean does.
        mean_w = shunt_ohm * mean_a * max(mean_a, self.highest_a * self.demand.at_once)
        needed_v = self._needed_v()
        return [
            at_most("shunt heat, mean", mean_w, "W", supply.value("shunt_w"), supply.source("shunt_w")),
            at_most("shunt heat, peak at the highest speed", shunt_ohm * self.peak_a**2, "W", supply.value("shunt_w"),
                    supply.source("shunt_w")),
            at_most("switch and socket voltage", high_v, "V", supply.value("switch_v"), supply.source("switch_v")),
            at_most("guard diode voltage", high_v, "V", supply.value("guard_diode_v"), supply.source("guard_diode_v")),
            at_most("capacitor voltage", high_v, "V", supply.value("capacitor_v"), supply.source("capacitor_v")),
            at_most("bleeder heat", high_v**2 / supply.value("bleeder_ohm"), "W", supply.value("resistor_w"),
                    supply.source("resistor_w")),
            at_least("supply watch, at its lowest", watch_low_v(electrical), "V", needed_v,
                     "what a hot coil needs to pull in", verdict="look",
                     note="measure the board's 5 V with a meter and write it into the profile as board_v"),
        ]  # fmt: skip

    def _needed_v(self) -> float:
        """The supply at which a hot coil only just reaches its pull-in current."""
        electrical = self.electrical
        hot_ohm = coil.resistance_at_ohm(electrical.resistance_ohm, self.worst.temperature_c)
        drop_v = self.driver.drop_v(electrical.pull_in_a)
        return electrical.pull_in_a * (hot_ohm + self._on_ohm()) + drop_v

    def _board(self) -> list[Line]:
        board = self.board
        volts = board.value("supply_v")
        lamp_a = (volts - board.value("lamp_v")) / board.value("lamp_ohm")
        base_a = (volts - 0.7) / board.value("buzzer_base_ohm")
        usb_a = sum(board.value(name) for name in ("board_a", "sensors_a", "buzzer_a")) + lamp_a
        sensed_v = supply_pin_v(self.electrical.high_v)
        one_a = self.steady_a(self._low_v(), self.worst.temperature_c)
        one_steps = current_pin_v(one_a) / board.value("reference_v") * board.value("steps")
        return [
            at_most("lamp pin", lamp_a, "A", board.value("pin_a"), board.source("pin_a")),
            at_most("buzzer pin", base_a, "A", board.value("pin_a"), board.source("pin_a")),
            at_most("all pins of the chip", lamp_a + base_a, "A", board.value("chip_a"), board.source("chip_a")),
            at_most("current from USB, configured", usb_a, "A", board.value("usb_a"), board.source("usb_a"),
                    note="board, sensors, lamp and buzzer; the coils never draw on USB"),
            at_most("current from USB, before configuration", usb_a - board.value("buzzer_a") - lamp_a, "A",
                    board.value("usb_unconfigured_a"), board.source("usb_unconfigured_a"),
                    note="lamp and buzzer are off through reset and boot"),
            at_most("supply sense at the pin", sensed_v, "V", board.value("reference_v"), board.source("reference_v")),
            at_most("current sense at the pin, peak", current_pin_v(self.peak_a), "V", board.value("reference_v"),
                    board.source("reference_v")),
            at_least("one coil seen by the current sense", one_steps, "steps", board.value("coil_steps"),
                     board.source("coil_steps")),
        ]  # fmt: skip
