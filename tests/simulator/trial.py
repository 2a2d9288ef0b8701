"""A route on trial: what its crews post of it, and which joints are behind every event that they post."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from itertools import pairwise

import numpy as np

from tests.bodies import Body
from tests.bodies.records import make_continuity
from tests.simulator.course import Course, draw_course
from tests.simulator.crew import closure_record, ends_of, id_of, trace_record
from tests.simulator.draws import draw_around, start
from tests.simulator.faults import STRAYS, Fault, FaultKind, build, draw_faults, seen_from_b, stray_losses_db
from tests.simulator.instrument import Direction, Otdr, Traces
from tests.simulator.listing import DEAD_ZONE_PULSES, M_PER_NS_OF_PULSE, Listed, Spot, list_events
from tests.simulator.splicing import RIBBON, SiteWork, SplicerScreen, ribbon_splicer
from tests.simulator.truth import RouteTruth

_ZONE = timezone(timedelta(hours=1))
_SPLICED_FROM = datetime(2026, 1, 5, 7, 0, tzinfo=_ZONE)
_EACH_SITE = timedelta(hours=12)
_EACH_RIBBON = timedelta(minutes=8)
_SEALED_AT = datetime(2026, 1, 20, 15, 0, tzinfo=_ZONE)
_TESTED_FROM = datetime(2026, 2, 2, 7, 0, tzinfo=_ZONE)
_EACH_FIBRE = timedelta(minutes=3)
_EACH_SHOT = timedelta(seconds=25)
POSITION_NOISE_M = 0.8
_END_REFLECTANCE_DB = -14.7
# Each of the echo's turns at a connector costs, the one at the port next to nothing: well below what made it.
_ECHO_WEAKER_DB = 18.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """What one trace lists, by the text of its distance, and of which sites it could have listed something."""

    record: str
    fibre: int
    wavelength_nm: int
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
        """Return, by the index of each site, the sites whose joints the pulse cannot tell from its own by design.

        What is said of one of them is said of all together: no joint's true loss is below zero.
        """
        offsets_m, last = self.course.designed_offsets_m.tolist(), len(self.course.sites) - 1
        pulse_m = self.course.gear.otdr_at_a.pulse_ns * M_PER_NS_OF_PULSE
        joined = sorted({0, last, *np.flatnonzero(self.course.truth.has_splice[fibre - 1]).tolist()})
        zones = [[joined[0]]]
        for near, far in pairwise(joined):
            is_near = offsets_m[far] - offsets_m[near] <= pulse_m
            behind_end = offsets_m[far] <= DEAD_ZONE_PULSES * pulse_m
            before_end = offsets_m[last] - offsets_m[near] <= DEAD_ZONE_PULSES * pulse_m
            if is_near or behind_end or before_end:
                zones[-1].append(far)
            else:
                zones.append([far])
        return {site: frozenset(zone) for zone in zones for site in zone}

    def true_losses_db(self, fibre: int, sites: frozenset[int], *, wavelength_nm: int) -> tuple[float, float]:
        """Return what the joints at some sites lose together, without and with a stray loss merged into them.

        A stray loss so close that the pulse covers both may be part of their events from one end or from both.
        """
        wavelength = self.truth.wavelengths_nm.index(wavelength_nm)
        joints_db = float(self.truth.joint_loss_db[wavelength, fibre - 1, sorted(sites)].sum())
        fault = self.fault_of(fibre)
        if fault is None or fault.kind not in STRAYS or fault.at_m is None:
            return joints_db, joints_db
        reach_m = DEAD_ZONE_PULSES * self.course.gear.otdr_at_a.pulse_ns * M_PER_NS_OF_PULSE
        offsets_m = self.truth.site_offsets_m
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
                made_at=_SEALED_AT,
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

    def traces(self) -> Iterator[tuple[Body, Shown]]:
        """Give each trace's record with what is behind it, fibre by fibre."""
        sides = [_Side.look(self, direction) for direction in Direction]
        for fibre in range(1, self.truth.fibre_count + 1):
            for side in sides:
                for wavelength_nm in self.truth.wavelengths_nm:
                    yield self._trace(side, fibre=fibre, wavelength_nm=wavelength_nm)

    def _trace(self, side: "_Side", *, fibre: int, wavelength_nm: int) -> tuple[Body, Shown]:
        fault = self.fault_of(fibre)
        is_copy = fault is not None and fault.kind is FaultKind.COPIED_FIBRE
        source = fault.other if is_copy and fault is not None and fault.other is not None else fibre
        wavelength = self.truth.wavelengths_nm.index(wavelength_nm)
        listed, end_m = side.listed(source, wavelength, None if is_copy else fault)
        name, gear = f"{self._name}/otdr/{fibre}/{side.direction}/{wavelength_nm}", self.course.gear
        turn = list(Direction).index(side.direction) * len(self.truth.wavelengths_nm) + wavelength
        events = [_event(one) for one in listed]
        events.append({"distance_m": end_m, "kind": "end", "reflectance_db": _END_REFLECTANCE_DB})
        shown = Shown(
            record=id_of(name),
            fibre=fibre,
            wavelength_nm=wavelength_nm,
            direction=side.direction,
            events={f"{one.distance_m:.2f}": one for one in listed},
        )
        trace = trace_record(
            fibre=fibre,
            ends=ends_of(self.truth, side.direction),
            wavelength_nm=wavelength_nm,
            otdr=side.otdr,
            cords=(side.traces.launch, side.traces.receive),
            head=gear.hand(side.direction).head(name, _TESTED_FROM + fibre * _EACH_FIBRE + turn * _EACH_SHOT),
            events=events,
            length_m=end_m,
        )
        return trace, shown

    @property
    def _name(self) -> str:
        return f"trial/{self.seed}/{self.faults[0].kind if self.faults else 'honest'}"

    @staticmethod
    def _partner(fault: Fault) -> int | None:
        return fault.other if fault.kind is FaultKind.CROSSED_FIBRES else None


def honest_trial(*, seed: int, fibres: int) -> Trial:
    """Return a route on which nothing went wrong."""
    course = draw_course(seed=seed, fibres=fibres)
    return Trial(course=course, faults=(), truth=course.truth, seed=seed)


def faulty_trial(*, seed: int, fibres: int, kind: FaultKind) -> Trial:
    """Return a route on which one thing went wrong with each fibre, or with each pair of fibres."""
    course = draw_course(seed=seed, fibres=fibres)
    faults = draw_faults(start(seed, 30, list(FaultKind).index(kind)), course, kind)
    return Trial(course=course, faults=faults, truth=build(course.truth, faults), seed=seed)


@dataclass(frozen=True, kw_only=True)
class _Side:
    """One end's view of every fibre."""

    direction: Direction
    traces: Traces
    otdr: Otdr
    truth: RouteTruth
    noise_db: Sequence[float]

    @classmethod
    def look(cls, trial: Trial, direction: Direction) -> "_Side":
        gear, forward = trial.course.gear, direction is Direction.A_TO_B
        truth = trial.truth if forward else seen_from_b(trial.truth, trial.faults)
        otdr, source = gear.otdr(direction), start(trial.seed, 40, int(forward))
        traces = gear.take_traces(truth, direction, source)
        noise_db = draw_around(source, (2 * truth.fibre_count,), centre=0, deviation=otdr.reading_noise_db).tolist()
        return cls(direction=direction, traces=traces, otdr=otdr, truth=truth, noise_db=noise_db)

    def listed(self, fibre: int, wavelength: int, fault: Fault | None) -> tuple[list[Listed], float]:
        """List the events of one trace, and where it ends."""
        spots = [*self._joints(fibre, wavelength), *self._strays(fibre, wavelength, fault)]
        end_m = float(self.traces.end_m[wavelength, fibre - 1])
        if fault is not None and fault.kind is FaultKind.BREAK and fault.at_m is not None:
            end_m = round(self._on_trace_m(fault.at_m, wavelength), 2)
            spots = [spot for spot in spots if spot.at_m < end_m]
        listed = list_events(spots, pulse_ns=self.otdr.pulse_ns, threshold_db=self.otdr.loss_threshold_db)
        if fault is not None and fault.kind is FaultKind.MISSING_EVENT and self.direction is Direction.A_TO_B:
            listed = [one for one in listed if fault.site not in one.sites]
        return listed, end_m

    def _joints(self, fibre: int, wavelength: int) -> Iterator[Spot]:
        readings = self.traces.readings_db[wavelength, fibre - 1].tolist()
        distances = self.traces.distances_m[wavelength, fibre - 1].tolist()
        reflectances = self.traces.reflectances_db[wavelength, fibre - 1].tolist()
        last = len(readings) - 1
        for site, (reading_db, distance_m) in enumerate(zip(readings, distances, strict=True)):
            if not np.isnan(reading_db):
                reflectance_db = {0: reflectances[0], last: reflectances[1]}.get(site)
                yield Spot(at_m=distance_m, loss_db=reading_db, reflectance_db=reflectance_db, site=site)

    def _strays(self, fibre: int, wavelength: int, fault: Fault | None) -> Iterator[Spot]:
        if fault is None:
            return
        noise_db = self.noise_db[2 * (fibre - 1) + wavelength]
        if fault.kind is FaultKind.ECHO:
            yield self._echo(fibre, wavelength, noise_db=noise_db)
        elif fault.kind in STRAYS and fault.at_m is not None:
            loss_db = stray_losses_db(self.truth, fault)[wavelength] + noise_db
            yield Spot(at_m=self._on_trace_m(fault.at_m, wavelength), loss_db=loss_db)

    def _echo(self, fibre: int, wavelength: int, *, noise_db: float) -> Spot:
        """Return the light that the near connector and the port sent to and fro: twice as far, and lossless."""
        near = 0 if self.direction is Direction.A_TO_B else -1
        at_m = 2 * float(self.traces.distances_m[wavelength, fibre - 1, near])
        made_by_db = float(self.traces.reflectances_db[wavelength, fibre - 1, near])
        return Spot(at_m=at_m, loss_db=noise_db / 2, reflectance_db=round(made_by_db - _ECHO_WEAKER_DB, 1))

    def _on_trace_m(self, from_a_m: float, wavelength: int) -> float:
        nm = self.truth.wavelengths_nm[wavelength]
        along_m = from_a_m
        if self.direction is Direction.B_TO_A:
            along_m = float(self.truth.section_lengths_m.sum()) - from_a_m
        scale = float(self.truth.group_index[wavelength]) / self.otdr.group_index[nm]
        return (self.traces.launch.length_m + along_m) * scale


def _event(listed: Listed) -> Body:
    event: Body = {"distance_m": listed.distance_m, "loss_db": listed.loss_db}
    if listed.reflectance_db is None:
        return event | {"kind": "non_reflective"}
    return event | {"kind": "reflective", "reflectance_db": listed.reflectance_db}
