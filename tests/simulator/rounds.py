"""A round of tests: every fibre of a route, in both directions, at every wavelength."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tests.bodies import Body
from tests.simulator.crew import Hand, TraceReporter, ends_of, power_record
from tests.simulator.draws import start
from tests.simulator.instrument import Cord, Direction, Otdr, PowerSet, Traces, read_power, take_traces
from tests.simulator.truth import RouteTruth

# Both cords stay on a fibre while it is shot from A and from B; only then do people move to the next one.
_OTDR_FIBRE = timedelta(minutes=3)
_OTDR_SHOT = timedelta(seconds=25)
_OTDR_OTHER_END = timedelta(seconds=75)
_POWER_FIBRE = timedelta(seconds=60)
_POWER_READING = timedelta(seconds=20)
_REFERENCE = timedelta(minutes=10)


@dataclass(frozen=True, kw_only=True)
class Gear:
    """What stands at both ends of a route during a round, and who works it."""

    hand_at_a: Hand
    hand_at_b: Hand
    otdr_at_a: Otdr
    otdr_at_b: Otdr
    cord_at_a: Cord
    cord_at_b: Cord
    power_from_a: PowerSet
    power_from_b: PowerSet

    def otdr(self, direction: Direction) -> Otdr:
        """Return the instrument at the end the light comes from."""
        return self.otdr_at_a if direction is Direction.A_TO_B else self.otdr_at_b

    def take_traces(self, truth: RouteTruth, otdr: Otdr, direction: Direction, source: np.random.Generator) -> Traces:
        """Measure every fibre in one direction by an instrument as it is set."""
        cords = {"cord_at_a": self.cord_at_a, "cord_at_b": self.cord_at_b}
        return take_traces(truth, otdr=otdr, direction=direction, source=source, **cords)

    def hand(self, direction: Direction) -> Hand:
        """Return who works the end the light comes from."""
        return self.hand_at_a if direction is Direction.A_TO_B else self.hand_at_b


def make_gear(*, hand_at_a: Hand, hand_at_b: Hand, loss_threshold_db: float, pulse_ns: int, range_m: float) -> Gear:
    """Return ordinary instruments, with a launch cord of a kilometre at either end and one-cord references."""
    otdrs = [
        Otdr(
            serial=serial,
            calibrated_until="2026-11-30",
            pulse_ns=pulse_ns,
            averaging_s=15.0,
            range_m=range_m,
            loss_threshold_db=loss_threshold_db,
            reading_noise_db=0.006,
            position_noise_m=0.8,
            group_index={1310: 1.4677, 1550: 1.4683},
            backscatter_db={1310: -79.5, 1550: -81.5},
        )
        for serial in ("OD-3314", "OD-3315")
    ]
    cords = [
        Cord(serial=serial, length_m=length_m, fibre_type="G.652.D", connector="SC-APC", mode_field_um=(9.2, 10.4))
        for serial, length_m in (("LC-21", 1003.4), ("LC-22", 998.7))
    ]
    sets = [
        PowerSet(
            source_serial=source_serial,
            meter_serial=meter_serial,
            calibrated_until="2026-09-30",
            reference_cords=1,
            reference_pair_loss_db=0.2,
            noise_db=0.02,
        )
        for source_serial, meter_serial in (("LS-071", "PM-122"), ("LS-072", "PM-121"))
    ]
    return Gear(
        hand_at_a=hand_at_a,
        hand_at_b=hand_at_b,
        otdr_at_a=otdrs[0],
        otdr_at_b=otdrs[1],
        cord_at_a=cords[0],
        cord_at_b=cords[1],
        power_from_a=sets[0],
        power_from_b=sets[1],
    )


def otdr_round(truth: RouteTruth, *, gear: Gear, begin: datetime, name: str, seed: int) -> Iterator[Body]:
    """Give the traces' records in the order in which they were taken."""
    reporters = {}
    for number, direction in enumerate(Direction, start=1):
        traces = gear.take_traces(truth, gear.otdr(direction), direction, start(seed, 10, number))
        reporters[direction] = TraceReporter(truth=truth, otdr=gear.otdr(direction), traces=traces)
    for fibre in range(1, truth.fibre_count + 1):
        for turn, (direction, reporter) in enumerate(reporters.items()):
            for shot, wavelength_nm in enumerate(truth.wavelengths_nm):
                yield reporter.record(
                    f"{name}/otdr/{fibre}/{direction}/{wavelength_nm}",
                    fibre=fibre,
                    wavelength_nm=wavelength_nm,
                    hand=gear.hand(direction),
                    made_at=begin + (fibre - 1) * _OTDR_FIBRE + turn * _OTDR_OTHER_END + shot * _OTDR_SHOT,
                )


def power_round(truth: RouteTruth, *, gear: Gear, begin: datetime, name: str, seed: int) -> Iterator[Body]:
    """Give the records of source and meter: all fibres from A, then all from B, each after a reference of its own."""
    for number, direction in enumerate(Direction):
        instruments = gear.power_from_a if direction is Direction.A_TO_B else gear.power_from_b
        first = begin + number * (truth.fibre_count * _POWER_FIBRE + _REFERENCE)
        readings_db = read_power(truth, instruments=instruments, source=start(seed, 11, number))
        for fibre in range(1, truth.fibre_count + 1):
            for turn, wavelength_nm in enumerate(truth.wavelengths_nm):
                made_at = first + (fibre - 1) * _POWER_FIBRE + turn * _POWER_READING
                yield power_record(
                    instruments=instruments,
                    ends=ends_of(truth, direction),
                    head=gear.hand(direction).head(f"{name}/power/{fibre}/{direction}/{wavelength_nm}", made_at),
                    fibre=fibre,
                    wavelength_nm=wavelength_nm,
                    loss_db=float(readings_db[turn, fibre - 1]),
                    referenced_at=(first - _REFERENCE / 2).isoformat(),
                )
