"""The doctor names what is wrong with a machine, and nothing on a healthy one."""

from __future__ import annotations

from dataclasses import replace

import pytest
from doctor.workbench import PROFILES, bed_for, found, observe

from boards import chip, native
from latchline.doctor.ailments import AILMENTS
from latchline.doctor.diagnose import Diagnosis, diagnose, of_error
from latchline.doctor.observe import Watch
from latchline.doctor.observed import Observed, Try
from latchline.errors import LatchlineError, LinkError, NotABoard, PortError, Silent, WrongVersion
from latchline.link.host import Host
from latchline.link.messages import PROTOCOL, Counts, Fault, Probed
from latchline.link.port import cannot_open, the_one
from latchline.machine.profile import load_profile
from latchline.machine.sense import current_counts, supply_counts
from latchline.plan.compile import BandRequest, compile_plan
from latchline.plan.options import Options
from latchline.sim.coils import OPEN_OHM, Coils
from latchline.sim.port import SimPort
from latchline.technique.table import technique_named

STANDARD = load_profile("standard-200")

# What is done to the machine, and the one thing that the doctor must say of it.
INJECTED = {
    "channels-swapped": ["channels-swapped"],
    "a-dead": ["a-dead"],
    "b-dead": ["b-dead"],
    "ends-swapped": ["ends-swapped"],
    "channels-swapped,ends-swapped": ["mirrored"],
    "left-stuck": ["left-stuck"],
    "right-stuck": ["right-stuck"],
    "bounce:0.01": ["encoder-bounces"],
    "extra:0.01": ["encoder-bounces"],
    "lost:0.01": ["both-at-once"],
    "slow:6000": ["edges-too-fast"],
    "edges:2": ["edges-per-needle"],
    "edges:8": ["edges-per-needle"],
    "flip:0.0001": ["bytes-lost"],
    "drop:0.0005": ["bytes-lost"],
    "double:0.0005": ["bytes-lost"],
    "stall:0.02": ["line-stalls"],
    "coil-open:3": ["coil-open"],
    "coil-short:5": ["coil-short"],
    "coil-short:0,coil-open:15": ["coil-short", "coil-open"],
    "sag:0.3": ["supply-sags"],
    "reset:5": ["board-restarts"],
    "power-cut:8": ["board-restarts"],
}


def names(diagnoses: list[Diagnosis]) -> list[str]:
    return [one.name for one in diagnoses]


@pytest.mark.parametrize("faults", INJECTED)
@pytest.mark.parametrize("seed", [1, 2])
def test_an_injected_fault_is_named_and_nothing_else(faults: str, seed: int) -> None:
    assert names(found(faults=faults, seed=seed)) == INJECTED[faults]


@pytest.mark.parametrize("seed", range(1, 13))
def test_a_line_that_stalls_is_named_and_not_what_follows_from_it(seed: int) -> None:
    """Late samples make distances, clocks and trials of coils look wrong, and silences that are none."""
    assert names(found(faults="stall:0.05", seed=seed)) == ["line-stalls"]
    assert names(found(faults="stall:0.05,coil-open:3", seed=seed))[0] == "line-stalls"


def test_an_end_sensor_out_of_place_is_found_over_a_line_that_stalls() -> None:
    machine = replace(STANDARD, right_sensor_needles=STANDARD.right_sensor_needles + 9)
    assert "edges-off" in names(found(faults="stall:0.02", machine=machine, told="standard-200"))


FIRMWARE_FAULTS = ["", *(faults for faults in INJECTED if not faults.startswith(("slow", "reset", "power-cut")))]


@pytest.mark.native
@pytest.mark.skipif(bool(native.missing()), reason=f"there is no {native.missing()}")
@pytest.mark.parametrize("faults", FIRMWARE_FAULTS)
def test_the_firmwares_core_shows_the_doctor_the_same(faults: str) -> None:
    diagnoses = found(faults=faults, make_board=lambda analog: native.NativeBoard(analog=analog))
    assert names(diagnoses) == INJECTED.get(faults, [])


@pytest.mark.chip
@pytest.mark.skipif(bool(chip.missing()), reason=f"there is no {chip.missing()}")
@pytest.mark.parametrize("faults", ["", "a-dead", "channels-swapped", "left-stuck", "coil-open:3", "coil-short:5"])
def test_the_emulated_chip_shows_the_doctor_the_same(faults: str) -> None:
    diagnoses = found(faults=faults, make_board=lambda analog: chip.ChipBoard(analog=analog))
    assert names(diagnoses) == INJECTED.get(faults, [])


@pytest.mark.parametrize("machine", [profile.name for profile in PROFILES])
@pytest.mark.parametrize("told", [profile.name for profile in PROFILES])
def test_the_wrong_profile_is_found_out_and_the_right_one_named(machine: str, told: str) -> None:
    diagnoses = found(machine, told=told)
    assert names(diagnoses) == ([] if machine == told else ["other-profile"])
    assert all(one.figures["profile"] == machine for one in diagnoses)


@pytest.mark.parametrize("moved_needles", [-4.0, 1.5, 9.0])
def test_an_end_sensor_that_stands_elsewhere_than_the_profile_says_is_found(moved_needles: float) -> None:
    machine = replace(STANDARD, right_sensor_needles=STANDARD.right_sensor_needles + moved_needles)
    diagnoses = found(machine=machine, told="standard-200")
    assert names(diagnoses) == ["edges-off"]
    counted = diagnoses[0].figures["counted"]
    assert isinstance(counted, int)
    assert (
        abs(counted - (892 + 4 * moved_needles)) <= 6
    )  # where it comes on too late the samples tell, a little roughly


@pytest.mark.parametrize(("stretch", "detail", "counted"), [(2, 6, 898), (3, 0x10000 - 6, 898), (3, 6, 886)])
def test_the_boards_own_word_on_the_distance_counts_in_both_directions(stretch: int, detail: int, counted: int) -> None:
    # Leftward, a count that has gone below the left sensor's place has met too many edges.
    seen = observe_healthy()
    walk = list(seen.walk)
    walk[stretch] = replace(walk[stretch], faults=(Fault(2, 0, 0, 255, 0, detail),))
    diagnoses = diagnose(replace(seen, walk=tuple(walk)), STANDARD)
    assert [one.figures["counted"] for one in diagnoses] == [counted]


def test_the_number_of_edges_a_needle_is_told() -> None:
    assert [found(faults=f"edges:{edges}")[0].figures["edges_per_needle"] for edges in (1, 2, 8)] == [1, 2, 8]


def test_the_coil_is_told() -> None:
    assert [one.figures["selector"] for one in found(faults="coil-open:7")] == [7]


@pytest.mark.parametrize("fitted", range(1, 17))
def test_while_coils_are_being_fitted_only_those_that_are_not_there_are_named(fitted: int) -> None:
    """A bench with the first few of sixteen coils: none of them is shorted, whatever the empty ones read."""
    coils = Coils(tuple(120.0 if coil < fitted else OPEN_OHM for coil in range(16)))
    diagnoses = found(coils=coils)
    assert {one.name for one in diagnoses} <= {"coil-open"}
    assert [one.figures["selector"] for one in diagnoses] == list(range(fitted, 16))


@pytest.mark.parametrize("fitted", [1, 2, 3, 16])
def test_a_shorted_coil_is_told_from_the_healthy_ones_however_few_are_fitted(fitted: int) -> None:
    ohms = [50.0, *[120.0] * (fitted - 1), *[OPEN_OHM] * (16 - fitted)]
    shorted = [one.figures["selector"] for one in found(coils=Coils(tuple(ohms))) if one.name == "coil-short"]
    assert shorted == [0]


@pytest.mark.parametrize("ohm", [45.0, 220.0])
def test_coils_that_are_alike_but_not_the_profiles_are_one_finding(ohm: float) -> None:
    assert names(found(coils=Coils((ohm,) * 16))) == ["other-coils"]


def test_without_a_table_of_coils_those_that_draw_are_held_to_each_other() -> None:
    bare = replace(STANDARD, electrical={})
    coils = Coils((60.0, 20.0, 60.0, 60.0, *[OPEN_OHM] * 12))
    diagnoses = found(bare, coils=coils)
    assert [one.figures["selector"] for one in diagnoses if one.name == "coil-short"] == [1]
    assert [one.figures["selector"] for one in diagnoses if one.name == "coil-open"] == list(range(4, 16))


@pytest.mark.parametrize("machine", [profile.name for profile in PROFILES])
@pytest.mark.parametrize("seed", range(100, 105))
def test_nothing_is_wrong_with_a_healthy_machine(machine: str, seed: int) -> None:
    assert found(machine, seed=seed) == []


@pytest.mark.long
def test_nothing_is_wrong_with_a_thousand_healthy_machines() -> None:
    machines = [profile.name for profile in PROFILES]
    wrong = {seed: some for seed in range(1000) if (some := found(machines[seed % len(machines)], seed=seed))}
    print(f"{1000 - len(wrong)} of 1000 healthy machines found healthy")
    assert wrong == {}


def test_a_piece_under_way_is_ended_before_the_walk_so_that_no_row_is_counted() -> None:
    request = BandRequest("ground", technique_named("fair-isle"), Options(rows=20, alternate_needles="only"))
    plan = compile_plan("under way", STANDARD, STANDARD.span("L30-R30"), [request])
    port = SimPort("sim://standard-200?seed=1")
    host = Host(port, port.clock)
    info = host.greet()
    host.set_bed(bed_for(STANDARD))
    host.start(plan, 1)
    host.step(0.1)
    seen = Watch(host, bed_for(STANDARD), port.clock, lambda _: None).observe(info, port)
    assert seen.was_knitting
    assert not observe_healthy().was_knitting
    assert diagnose(seen, STANDARD, PROFILES) == []
    assert host.fresh_status().done == 0
    assert port.world.knitted == []


# ---- coils, from readings put together by hand -------------------------------------------------

VOLTS, COIL = supply_counts(12.0), current_counts(12.0 / 120)  # readings of the standard profile's supply and coil
QUIET = Counts(0, 0, 0, 0, 0, 0, 0, 0, 65535, supply=VOLTS, current=0)


def _seen(on: list[tuple[int, int]], idle: Counts = QUIET, faults: dict[int, int] | None = None) -> Observed:
    """Selectors with these readings of supply and current while on."""
    faults = faults or {}
    tries = tuple(
        Try(
            number,
            idle,
            None if number in faults else Probed(number, idle.supply, supply, 0, current),
            faults.get(number, 0),
        )
        for number, (supply, current) in enumerate(on)
    )
    return replace(observe_healthy(), tries=tries)


_HEALTHY: list[Observed] = []


def observe_healthy() -> Observed:
    if not _HEALTHY:
        _HEALTHY.append(observe())
    return _HEALTHY[0]


GOOD = [(VOLTS - 2, COIL)] * 16


@pytest.mark.parametrize(
    ("seen", "name"),
    [
        (lambda: _seen([(0, 0)] * 16, replace(QUIET, supply=3)), "no-supply"),
        (lambda: _seen(GOOD, replace(QUIET, supply=supply_counts(24.0))), "supply-high"),
        (lambda: _seen(GOOD, replace(QUIET, supply=supply_counts(36.0))), "supply-high"),
        (lambda: _seen(GOOD, replace(QUIET, supply=supply_counts(9.0)), dict.fromkeys(range(16), 10)), "supply-low"),
        (lambda: _seen([(VOLTS, 80)] * 16, replace(QUIET, current=40)), "current-when-off"),
        (lambda: _seen([(VOLTS, 0)] * 16), "no-coil-current"),
        (lambda: _seen([(VOLTS * 4 // 5, COIL)] * 16), "supply-sags"),
        (lambda: _seen(GOOD, faults=dict.fromkeys(range(16), 10)), "supply-sags"),
        (lambda: _seen([*GOOD[:-1], (VOLTS, 3)]), "coil-open"),
        (lambda: _seen([*GOOD[:-1], (VOLTS, 4)]), "coil-open"),
        (lambda: _seen([*GOOD[:-1], (VOLTS * 4 // 5, 200)]), "coil-short"),
        (lambda: _seen(GOOD, faults={4: 11}), "coil-short"),
        (lambda: _seen(GOOD, faults={4: 10}), "coil-short"),
        (lambda: _seen([(VOLTS, 1023)]), "coil-short"),
        (lambda: _seen(GOOD, faults={4: 0}), "not-probed"),
    ],
)
def test_coils_are_told_apart_by_what_they_draw(seen: object, name: str) -> None:
    assert names(diagnose(seen(), STANDARD)) == [name]  # type: ignore[operator]


def test_a_single_coil_and_a_pair_that_work_are_healthy() -> None:
    assert diagnose(_seen(GOOD[:1]), STANDARD) == []
    assert diagnose(_seen(GOOD[:2]), STANDARD) == []


# ---- the line, and the walk that was none ------------------------------------------------------


@pytest.mark.parametrize(("error", "wrong"), [(0.0, []), (0.01, []), (-0.02, ["rate-off"]), (0.05, ["rate-off"])])
def test_a_clock_further_off_than_a_line_takes_is_found(error: float, wrong: list[str]) -> None:
    assert names(diagnose(replace(observe_healthy(), clock_error=error), STANDARD)) == wrong


def _walk(**pins: int) -> Observed:
    """The healthy walk with sensor levels forced: `low` and `high` are masks of pins."""
    seen = observe_healthy()

    def forced(levels: int) -> int:
        return (levels & ~pins.get("low", 0)) | pins.get("high", 0)

    walk = tuple(
        replace(
            stretch,
            samples=tuple(
                replace(one, status=replace(one.status, pins=forced(one.status.pins))) for one in stretch.samples
            ),
        )
        for stretch in seen.walk
    )
    return replace(seen, walk=walk)


@pytest.mark.parametrize(("pins", "name"), [(4, "left-never"), (8, "right-never")])
def test_an_end_sensor_that_never_switches_on_is_found(pins: int, name: str) -> None:
    assert names(diagnose(_walk(high=pins), STANDARD)) == [name]


def _still(seen: Observed, share: float) -> Observed:
    """Only the first samples of each stretch, as if the carriage had stopped early."""
    return replace(
        seen,
        walk=tuple(
            replace(stretch, samples=stretch.samples[: max(2, round(share * len(stretch.samples)))])
            for stretch in seen.walk
        ),
    )


def test_a_carriage_that_never_moved_shows_no_edges() -> None:
    assert names(diagnose(_still(observe_healthy(), 0.0), STANDARD)) == ["no-edges"]


def test_a_walk_that_stopped_half_way_says_nothing_worse() -> None:
    seen = replace(_still(_walk(high=12), 0.4), walk=_still(_walk(high=12), 0.4).walk)
    assert names(diagnose(seen, STANDARD)) == ["short-walk"]


@pytest.mark.parametrize(("counter", "name"), [("left_on", "left-bounces"), ("right_on", "right-bounces")])
def test_an_end_sensor_that_comes_on_again_and_again_bounces(counter: str, name: str) -> None:
    seen = observe_healthy()
    stretch = seen.walk[2]
    last = stretch.samples[-1]
    counts = replace(last.counts, **{counter: getattr(last.counts, counter) + 5})
    changed = replace(stretch, samples=(*stretch.samples[:-1], replace(last, counts=counts)))
    assert name in names(diagnose(replace(seen, walk=(*seen.walk[:2], changed, *seen.walk[3:])), STANDARD))


def test_edges_while_nothing_moves_are_noise() -> None:
    seen = observe_healthy()
    rest = seen.walk[0]
    last = rest.samples[-1]
    noisy = replace(last, counts=replace(last.counts, edges=last.counts.edges + 200))
    changed = replace(rest, samples=(rest.samples[0], noisy))
    assert names(diagnose(replace(seen, walk=(changed, *seen.walk[1:])), STANDARD)) == ["edges-at-rest"]


# ---- what went wrong before the board was there ------------------------------------------------


@pytest.mark.parametrize(
    ("error", "name"),
    [
        (cannot_open("/dev/x", FileNotFoundError(2, "none")), "port-missing"),
        (cannot_open("/dev/x", PermissionError(13, "no")), "no-permission"),
        (cannot_open("/dev/x", OSError("Could not exclusively lock port /dev/x")), "port-in-use"),
        (cannot_open("/dev/x", OSError("Could not configure port: odd")), "no-serial-port"),
        (cannot_open("/dev/x", OSError("quite odd")), "port-closed"),
        (PortError("the port does not work any more (gone)", name="port-fails"), "port-fails"),
        (Silent("nothing answers on this port"), "silent"),
        (Silent("the board does not answer any more"), "silent"),
        (NotABoard("something answers on this port, but not a Latchline board", name="wrong-device"), "wrong-device"),
        (LinkError("the board does not take this machine profile", name="profile-refused"), "profile-refused"),
    ],
)
def test_an_error_of_opening_or_greeting_has_its_diagnosis(error: LatchlineError, name: str) -> None:
    diagnosis = of_error(error)
    assert diagnosis is not None
    assert diagnosis.name == name


@pytest.mark.parametrize(("devices", "name"), [([], "no-port"), (["a", "b"], "several-ports")])
def test_no_board_on_usb_and_several_have_their_diagnoses(devices: list[str], name: str) -> None:
    with pytest.raises(PortError) as caught:
        the_one(devices)
    assert (of_error(caught.value) or Diagnosis("")).name == name


@pytest.mark.parametrize(("protocol", "name"), [(PROTOCOL - 1, "old-firmware"), (PROTOCOL + 1, "new-firmware")])
def test_firmware_of_another_version_is_told_older_or_newer(protocol: int, name: str) -> None:
    info = replace(observe_healthy().info, protocol=protocol)
    assert (of_error(WrongVersion("the board speaks another protocol"), info) or Diagnosis("")).name == name


def test_an_error_that_is_none_of_the_doctors_is_left_alone() -> None:
    assert of_error(LatchlineError("a chart has no rows")) is None


def test_every_ailment_can_be_told_and_has_all_three_sentences() -> None:
    for name, ailment in AILMENTS.items():
        assert all((ailment.says, ailment.cause, ailment.next_step)), name
        assert ailment.says[0].isupper()
        assert not ailment.says.endswith(".")
    assert len({ailment.says for ailment in AILMENTS.values()}) == len(AILMENTS)
