"""A route on trial: what its crews post of it, and which joints are behind every event that they post."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from functools import cached_property
from itertools import pairwise

import numpy as np

from tests.bodies import Body
from tests.bodies.records import make_continuity
from tests.simulator.course import Course, draw_course
from tests.simulator.crew import closure_record, ends_of, id_of, power_record, trace_record
from tests.simulator.draws import Floats, start
from tests.simulator.equipment import with_pulse
from tests.simulator.faults import MUTUAL, STRAYS, Fault, FaultKind, as_tested, build, draw_faults, stray_losses_db
from tests.simulator.geometry import PLAIN, Geometry
from tests.simulator.glass import with_marginal
from tests.simulator.instrument import Direction, read_power, site_noise_db
from tests.simulator.listing import DEAD_ZONE_PULSES, M_PER_NS_OF_PULSE, Listed
from tests.simulator.people import copied_from, deleted_at, typed
from tests.simulator.splicing import RIBBON, SiteWork, SplicerScreen, ribbon_splicer
from tests.simulator.truth import RouteTruth
from tests.simulator.view import View

_ZONE = timezone(timedelta(hours=1))
_SPLICED_FROM = datetime(2026, 1, 5, 7, 0, tzinfo=_ZONE)
_EACH_SITE = timedelta(hours=12)
_EACH_RIBBON = timedelta(minutes=8)
SEALED_AT = datetime(2026, 1, 20, 15, 0, tzinfo=_ZONE)
_TESTED_FROM = datetime(2026, 2, 2, 7, 0, tzinfo=_ZONE)
_EACH_FIBRE = timedelta(minutes=3)
# A shot takes its averaging, half a minute, and a hand to save it.
_EACH_SHOT = timedelta(seconds=35)
_POWER_FROM = datetime(2026, 2, 9, 7, 0, tzinfo=_ZONE)
_EACH_POWER = timedelta(seconds=75)
POSITION_NOISE_M = 0.8
# Instruments part two events at 1.6 to 2.2 pulses, from memory.
MOST_MERGED_PULSES = 2.2
# All fibres of a cable together show their closures to a metre or two, simulated.
SPOTS_KNOWN_TO_M = 2.0
_END_REFLECTANCE_DB = -14.7


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """What one trace lists, by the text of its distance, and of which sites it could have listed something."""

    record: str
    fibre: int
    wavelength_nm: int
    pulse_ns: int
    direction: Direction
    events: Mapping[str, Listed]


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A route with its faults, one or none to a fibre, and the traces of every fibre."""

    course: Course
    faults: tuple[Fault, ...]
    truth: RouteTruth
    seed: int

    def dead_zones(self, fibre: int) -> dict[int, frozenset[int]]:
        """Return, by the index of each site, the sites whose joints nobody can say that the pulse tells from its own.

        What is said of one of them is said of all together: no joint's true loss is below zero. From how far apart an
        instrument parts two is not written on it, so what any may merge counts as merged: as designed, as built, or as
        built and laid out by the length that the design has.
        """
        offsets_m, last = self.course.designed_offsets_m.tolist(), len(self.course.sites) - 1
        built_m, pulse_m = self.course.truth.site_offsets_m[fibre - 1].tolist(), self.pulse_m
        apart_m = MOST_MERGED_PULSES * pulse_m + SPOTS_KNOWN_TO_M
        joined = sorted({0, last, *np.flatnonzero(self.course.truth.has_splice[fibre - 1]).tolist()})
        zones = [[joined[0]]]
        for near, far in pairwise(joined):
            designed_apart_m, built_apart_m = (way[far] - way[near] for way in (offsets_m, built_m))
            laid_out_apart_m = built_apart_m * offsets_m[last] / built_m[last]
            is_near = min(designed_apart_m, built_apart_m, laid_out_apart_m) <= apart_m
            behind_end = offsets_m[far] <= DEAD_ZONE_PULSES * pulse_m
            before_end = offsets_m[last] - offsets_m[near] <= DEAD_ZONE_PULSES * pulse_m
            if is_near or behind_end or before_end:
                zones[-1].append(far)
            else:
                zones.append([far])
        return {site: frozenset(zone) for zone in zones for site in zone}

    @property
    def pulse_m(self) -> float:
        """Length in the fibre of the shortest pulse."""
        return self.course.pulses_ns[0] * M_PER_NS_OF_PULSE

    def true_losses_db(self, fibre: int, sites: frozenset[int], *, wavelength_nm: int) -> tuple[float, float]:
        """Return what the joints at some sites lose together, without and with a stray loss merged into them.

        A stray loss so close that the pulse covers both may be part of their events from one end or from both.
        """
        wavelength = self.truth.wavelengths_nm.index(wavelength_nm)
        joints_db = float(self.truth.joint_loss_db[wavelength, fibre - 1, sorted(sites)].sum())
        fault = self.fault_of(fibre)
        if fault is None or fault.kind not in STRAYS or fault.at_m is None:
            return joints_db, joints_db
        reach_m = DEAD_ZONE_PULSES * self.pulse_m
        offsets_m = self.truth.site_offsets_m[fibre - 1]
        is_near = any(abs(fault.at_m - float(offsets_m[site])) <= reach_m + 2 * POSITION_NOISE_M for site in sites)
        return joints_db, joints_db + stray_losses_db(self.truth, fault)[wavelength] * is_near

    def fault_of(self, fibre: int) -> Fault | None:
        """Return what is wrong with a fibre."""
        return next((fault for fault in self.faults if fibre in {fault.fibre, self._partner(fault)}), None)

    def site_records(self) -> list[Body]:
        """Return every closure's sealing."""
        return [
            closure_record(
                f"{self._name}/seal/{site}",
                site=site,
                state="sealed",
                photographs=1,
                hand=self.course.gear.hand_at_a,
                made_at=SEALED_AT,
            )
            for site in self.course.sites[1:-1]
        ]

    def splice_records(self) -> Iterator[Body]:
        """Give every site's splices, ribbon by ribbon, with the estimates that the splicer showed."""
        screen = SplicerScreen(self.course.truth, seed=self.seed, estimates_db={})
        for index, site in enumerate(self.course.sites):
            yield from screen.splice_site(
                SiteWork(
                    site=site,
                    hand=self.course.gear.hand_at_a,
                    splicer=ribbon_splicer("FS-2301"),
                    begin=_SPLICED_FROM + index * _EACH_SITE,
                    each=_EACH_RIBBON,
                    together=RIBBON,
                    name_prefix=f"{self._name}/",
                )
            )

    def continuity_records(self) -> Iterator[Body]:
        """Give, from both ends, the number at which each lit fibre was seen."""
        ends = self.course.sites[0], self.course.sites[-1]
        partners = {fault.fibre: fault.other for fault in self.faults if fault.kind is FaultKind.CROSSED_FIBRES}
        partners |= {other: fibre for fibre, other in partners.items() if other is not None}
        for fibre in range(1, self.truth.fibre_count + 1):
            for number, lit_from in enumerate((ends, ends[::-1])):
                name, made_at = (
                    f"{self._name}/continuity/{fibre}/{number}",
                    _TESTED_FROM - _EACH_FIBRE * (fibre + number),
                )
                yield make_continuity(
                    **self.course.gear.hand_at_a.head(name, made_at),
                    fibre=fibre,
                    seen=partners.get(fibre) or fibre,
                    from_site=lit_from[0],
                    to_site=lit_from[1],
                )

    def power_records(self) -> Iterator[Body]:
        """Give every fibre's loss by source and meter, from both ends at both wavelengths."""
        repeated = {one.fibre: one.other for one in self.faults if one.kind is FaultKind.POWER_REPEATED}
        gear, truth = self.course.gear, self.truth
        for number, direction in enumerate(Direction):
            instruments = gear.power_from_a if direction is Direction.A_TO_B else gear.power_from_b
            readings_db = read_power(truth, instruments=instruments, source=start(self.seed, 41, number))
            begin = _POWER_FROM + number * timedelta(hours=3)
            for fibre in range(1, truth.fibre_count + 1):
                source = repeated.get(fibre) or fibre
                for turn, wavelength_nm in enumerate(truth.wavelengths_nm):
                    name = f"{self._name}/power/{fibre}/{direction}/{wavelength_nm}"
                    made_at = begin + fibre * _EACH_POWER + turn * _EACH_SHOT
                    yield power_record(
                        instruments=instruments,
                        ends=ends_of(truth, direction),
                        head=gear.hand(direction).head(name, made_at),
                        fibre=fibre,
                        wavelength_nm=wavelength_nm,
                        loss_db=float(readings_db[turn, source - 1]),
                        referenced_at=begin.isoformat(),
                    )

    def traces(self) -> Iterator[tuple[Body, Shown]]:
        """Give each trace's record with what is behind it, fibre by fibre."""
        gear = self.course.gear
        views = [
            View.look(
                gear,
                as_tested(self.truth, self.faults, direction),
                otdr=with_pulse(gear.otdr(direction), pulse_ns),
                direction=direction,
                source=start(self.seed, 40, int(direction is Direction.A_TO_B), number),
            )
            for direction in Direction
            for number, pulse_ns in enumerate(self.course.pulses_ns)
        ]
        for fibre in range(1, self.truth.fibre_count + 1):
            for number, view in enumerate(views):
                for wavelength_nm in self.truth.wavelengths_nm:
                    yield self._trace(view, number, fibre=fibre, wavelength_nm=wavelength_nm)

    @cached_property
    def noises_db(self) -> Mapping[tuple[Direction, int], Floats]:
        """Return the noise of a reading at each wavelength, fibre and site, by direction and pulse."""
        return {
            (direction, pulse_ns): site_noise_db(
                self.truth,
                with_pulse(self.course.gear.otdr(direction), pulse_ns),
                forward=direction is Direction.A_TO_B,
            )
            for direction in Direction
            for pulse_ns in self.course.pulses_ns
        }

    def _trace(self, view: View, number: int, *, fibre: int, wavelength_nm: int) -> tuple[Body, Shown]:
        fault, direction, pulse_ns = self.fault_of(fibre), view.direction, view.otdr.pulse_ns
        source = copied_from(fault, direction)
        wavelength = self.truth.wavelengths_nm.index(wavelength_nm)
        screen = (
            view.screen(fibre, wavelength, fault, deleted=deleted_at(fault, direction))
            if source is None
            else view.screen(source, wavelength, None)
        )
        turn = number * len(self.truth.wavelengths_nm) + wavelength
        seeds = (self.seed, 50, fibre, turn)
        screen = replace(screen, listed=typed(screen.listed, fault, direction=direction, seeds=seeds))
        name, gear = f"{self._name}/otdr/{fibre}/{direction}/{wavelength_nm}/{pulse_ns}", self.course.gear
        end = {"distance_m": screen.end_m, "kind": "end", "reflectance_db": _END_REFLECTANCE_DB}
        shown = Shown(
            record=id_of(name),
            fibre=fibre,
            wavelength_nm=wavelength_nm,
            pulse_ns=pulse_ns,
            direction=direction,
            events={f"{one.distance_m:.2f}": one for one in screen.listed},
        )
        launch, receive = view.traces.launch, view.traces.receive
        begun_at = _TESTED_FROM + fibre * len(self.course.pulses_ns) * _EACH_FIBRE
        trace = trace_record(
            fibre=fibre,
            ends=ends_of(self.truth, direction),
            wavelength_nm=wavelength_nm,
            otdr=view.otdr,
            cords=(launch, receive),
            head=gear.hand(direction).head(name, begun_at + turn * _EACH_SHOT),
            events=[*screen.events(), end],
            length_m=screen.end_m,
            total_loss={"loss_db": screen.total_db, "from_m": screen.total_from_m, "to_m": screen.total_to_m},
        )
        return trace, shown

    @property
    def _name(self) -> str:
        return f"trial/{self.seed}/{self.faults[0].kind if self.faults else 'honest'}"

    @staticmethod
    def _partner(fault: Fault) -> int | None:
        return fault.other if fault.kind in MUTUAL else None


def honest_trial(*, seed: int, fibres: int, geometry: Geometry = PLAIN) -> Trial:
    """Return a route on which nothing went wrong."""
    course = draw_course(seed=seed, fibres=fibres, geometry=geometry)
    return Trial(course=course, faults=(), truth=course.truth, seed=seed)


def marginal_trial(*, seed: int, fibres: int, geometry: Geometry, limit_db: float) -> Trial:
    """Return a route tested by honest people whose even fibres have splices near or beyond a limit."""
    course = draw_course(seed=seed, fibres=fibres, geometry=geometry)
    return Trial(course=course, faults=(), truth=with_marginal(course.truth, limit_db=limit_db, seed=seed), seed=seed)


def faulty_trial(
    *, seed: int, fibres: int, kind: FaultKind, geometry: Geometry = PLAIN, most: int | None = None
) -> Trial:
    """Return a route on which one thing went wrong with each fibre, or with each pair of fibres, or with so many."""
    course = draw_course(seed=seed, fibres=fibres, geometry=geometry)
    faults = draw_faults(start(seed, 30, list(FaultKind).index(kind)), course, kind)[:most]
    return Trial(course=course, faults=faults, truth=build(course.truth, faults), seed=seed)
