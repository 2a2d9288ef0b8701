"""The spots of a fibre where traces show a loss and the design has no joint, bends and damage, and what they lose.

A trace of which it is not certain whose it is, or where its events lie, shows no spot: the fibre is then not shown by
it at all, and nobody is accused of what it shows.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from service.vocabulary.criteria.words import From
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import metres_text, to_um
from worker.judgement.fibre.bidirectional import BidirectionalLoss, missing_reason
from worker.judgement.fibre.link_tests import DirectionTest, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.history.validity import Side, void_records
from worker.judgement.numbers.exact import mdb_text, mean_tenth_mdb
from worker.judgement.traces.aligned_trace import AlignedTrace, Reading
from worker.judgement.traces.noise import TraceNoise
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import UnexpectedEvent
from worker.judgement.traces.reflections import OneWayReflectance, worst_shown
from worker.judgement.words import DIRECTION, DIRECTION_LABELS, REASON_LABELS


@dataclass(frozen=True, kw_only=True, slots=True)
class UnexpectedSpot:
    """One spot and the event that each side has there, by the shortest pulse that states its loss."""

    from_a_um: int
    events: Mapping[Side, UnexpectedEvent]

    @property
    def from_a_m(self) -> str:
        """Where it lies, in metres of fibre from A, by the first of its events."""
        return metres_text(next(iter(self.events.values())).from_a_um)

    @property
    def said(self) -> str:
        """Say where it lies; findings about it begin with that."""
        return f"{self.from_a_m} m from A, where no joint is"


class _OneWay(NamedTuple):
    """What one direction shows of a spot: a loss between two bounds, or why nothing."""

    reason: Reason | None
    said: str
    low_mdb: int = 0
    high_mdb: int = 0
    readings: tuple[RecordReading, ...] = ()


def unexpected_spots(fibre: FibreMeasured, *, wavelengths_nm: Iterable[int]) -> list[UnexpectedSpot]:
    """Return the spots at some wavelengths by the traces that count from end to end, in order from A.

    What lies in the cords is none of the fibre's.
    """
    records = {trace.stamp.id for trace in _sound_traces(fibre, wavelengths_nm)} if fibre.unexpected else set()
    clusters: list[list[UnexpectedEvent]] = []
    for event in fibre.unexpected:
        aligned = fibre.aligned(event.trace)
        if event.record not in records or not _is_before_end(aligned, event):
            continue
        tolerance_um = aligned.scale.tolerance_um
        if not -tolerance_um <= event.at_um <= fibre.length_um + tolerance_um:
            continue
        for own in clusters:
            # Two events of one trace are two spots.
            is_near = abs(event.at_um - own[0].at_um) <= tolerance_um
            if is_near and all(event.record != other.record for other in own):
                own.append(event)
                break
        else:
            clusters.append([event])
    return [_spot(own) for own in clusters]


def unexpected_loss(
    fibre: FibreMeasured, spot: UnexpectedSpot, tested_from: From, *, wavelength_nm: int
) -> BidirectionalLoss:
    """Return the loss of a spot at one wavelength, where traces run over it from both ends, or from those asked for.

    One that a direction does not show is within what its sharpest trace may hide there, and what another wavelength
    does not show says nothing of this one.
    """
    tests = tests_from(fibre, tested_from, test="otdr", wavelength_nm=wavelength_nm)
    ways = [_shown(fibre, spot, Side(wavelength_nm, test.is_forward), test) for test in tests]
    reason = missing_reason(*(way.reason for way in ways))
    said = " and ".join(
        f"{way.said} ({DIRECTION_LABELS[test.is_forward]})" for way, test in zip(ways, tests, strict=True)
    )
    # One direction alone is its own mean.
    there, back = ways[0], ways[-1]
    low = mean_tenth_mdb(first_mdb=there.low_mdb, second_mdb=back.low_mdb)
    high = mean_tenth_mdb(first_mdb=there.high_mdb, second_mdb=back.high_mdb)
    return BidirectionalLoss(
        reason=reason,
        low_tenth_mdb=low,
        high_tenth_mdb=high,
        detail=f"mean of {said}" if reason is None and len(ways) > 1 else said,
        readings=tuple(reading for way in ways for reading in way.readings),
        void=void_records([item for test in tests for item in test.void]),
    )


def joint_built_there(fibre: FibreMeasured, spot: UnexpectedSpot, *, wavelength_nm: int) -> Place | None:
    """Return the place whose joint a spot may be: in reach of what may be built elsewhere, and not certainly seen.

    Where the cable's fibres show a place, it is not elsewhere, but some of its own slack may be.
    """
    designed_um, off_spot_um = fibre.layout.site_offsets_um, to_um(fibre.criteria.placing.off_spot_m)
    for place in fibre.places:
        if place.is_end:
            continue
        reach_um = off_spot_um if place.within_um is None else 2 * place.within_um
        is_near = abs(designed_um[place.site_index] - spot.from_a_um) <= reach_um
        if is_near and fibre.loss_at(place, wavelength_nm=wavelength_nm).reason is Reason.AMBIGUOUS_EVENT:
            return place
    return None


def unexpected_reflectance(fibre: FibreMeasured, spot: UnexpectedSpot, test: DirectionTest) -> OneWayReflectance:
    """Return what one direction shows a spot to send back, or the most that it can where it shows nothing there."""
    assert test.wavelength_nm is not None
    side, void = Side(test.wavelength_nm, test.is_forward), void_records(test.void)
    event = spot.events.get(side)
    if event is not None:
        shown: Reading | Reason = Reading(event.trace, event.loss_mdb or 0, event.loss_mdb or 0, (event.event,))
        return worst_shown([shown], is_forward=side.is_forward, void=void)
    over = [trace for trace in _sound_traces(fibre, [side.wavelength_nm]) if _runs_over(fibre, trace, spot, side)]
    known = [(hidden, trace) for trace in over if (hidden := _hidden_mdb(fibre, trace, spot)) is not None]
    if known:
        hidden, sharpest = min(known, key=lambda one: (one[0], one[1].stamp))
        shown = Reading(sharpest, -hidden, hidden, noise_mdb=hidden - sharpest.threshold_mdb)
    else:
        shown = Reason.NOISE_NOT_KNOWN if over else test.missing or Reason.NO_EVIDENCE
    return worst_shown([shown], is_forward=side.is_forward, void=void)


def section_at(fibre: FibreMeasured, spot: UnexpectedSpot) -> int:
    """Return the index of the section in which a spot lies."""
    last = len(fibre.layout.design.sections) - 1
    return min(max(bisect_right(fibre.layout.site_offsets_um, spot.from_a_um) - 1, 0), last)


def _sound_traces(fibre: FibreMeasured, wavelengths_nm: Iterable[int]) -> Iterator[Trace]:
    """Give the traces that count over all of what they cover, and of which is certain whose they are and where."""
    for nm in wavelengths_nm:
        for is_forward in (True, False):
            for trace in fibre.traces.of_side(Side(nm, is_forward)).traces:
                if fibre.validity.fault_over(trace) is None and _is_sound(fibre.aligned(trace)):
                    yield trace


def _is_sound(aligned: AlignedTrace) -> bool:
    # One that stops before the far end counts as far as it reaches, unless it only seems to: with an index mistyped by
    # more than any scale, the fibre looks too short and nothing lies where it should.
    return aligned.unlike is None and not aligned.is_misfit and aligned.shortfall in {None, Reason.BEYOND_REACH}


def _is_before_end(aligned: AlignedTrace, event: UnexpectedEvent) -> bool:
    # What a trace that stops short shows at its end, or behind it, is the end.
    scale = aligned.scale
    on_trace_um = scale.on_trace_um(abs(event.from_a_um - scale.near_um))
    return aligned.shortfall is None or on_trace_um + scale.tolerance_um < scale.reach_um


def _spot(own: Sequence[UnexpectedEvent]) -> UnexpectedSpot:
    events: dict[Side, UnexpectedEvent] = {}
    for event in sorted(own, key=lambda event: (event.loss_mdb is None, event.trace.pulse_ns)):
        events.setdefault(event.side, event)
    return UnexpectedSpot(from_a_um=own[0].at_um, events=events)


def _shown(fibre: FibreMeasured, spot: UnexpectedSpot, side: Side, test: DirectionTest) -> _OneWay:
    direction, event = DIRECTION[side.is_forward], spot.events.get(side)
    if event is not None:
        loss_mdb, reading = event.loss_mdb, RecordReading(event.record, direction, side.wavelength_nm, event.loss_mdb)
        if loss_mdb is None:
            return _OneWay(Reason.LOSS_NOT_STATED, REASON_LABELS[Reason.LOSS_NOT_STATED], readings=(reading,))
        return _OneWay(None, f"{mdb_text(loss_mdb)} dB", loss_mdb, loss_mdb, (reading,))
    over = [trace for trace in _sound_traces(fibre, [side.wavelength_nm]) if _runs_over(fibre, trace, spot, side)]
    if not over:
        reason = test.missing or Reason.NO_EVIDENCE
        return _OneWay(reason, REASON_LABELS[reason])
    hidden = [(_hidden_mdb(fibre, trace, spot), trace) for trace in over]
    known = [(within, trace) for within, trace in hidden if within is not None]
    if not known:
        return _OneWay(Reason.NOISE_NOT_KNOWN, REASON_LABELS[Reason.NOISE_NOT_KNOWN])
    within, sharpest = min(known, key=lambda one: (one[0], one[1].stamp))
    reading = RecordReading(sharpest.stamp.id, direction, side.wavelength_nm, within=within)
    return _OneWay(None, f"a loss not seen, within {mdb_text(within)} dB of zero", -within, within, (reading,))


def _hidden_mdb(fibre: FibreMeasured, trace: Trace, spot: UnexpectedSpot) -> int | None:
    """Return how much a spot may lose without the trace showing it; None where its noise is not known."""
    scale = fibre.aligned(trace).scale
    noise = TraceNoise(trace, unseen_within_db=fibre.criteria.placing.unseen_within_db)
    return noise.unseen_mdb(scale.on_trace_um(abs(spot.from_a_um - scale.near_um)))


def _runs_over(fibre: FibreMeasured, trace: Trace, spot: UnexpectedSpot, side: Side) -> bool:
    if trace.is_forward is not side.is_forward:
        return False
    offsets_um, at_um = fibre.layout.site_offsets_um, min(max(spot.from_a_um, 0), fibre.length_um)
    scale = fibre.aligned(trace).scale
    return offsets_um[trace.low_index] <= at_um <= offsets_um[trace.high_index] and scale.reaches(
        scale.on_trace_um(abs(at_um - scale.near_um)), joint_um=None
    )
