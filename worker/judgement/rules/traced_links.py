"""The loss of a link by its traces: what they lose from before one end to behind the other, both ways or one."""

from collections.abc import Sequence
from typing import NamedTuple

from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.criteria.words import Combination, From
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.bidirectional import cords_changed
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.left_out import TracedLoss, half_text, traced_by
from worker.judgement.fibre.link_tests import DirectionTest, known_of, reading_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, TENTHS_PER_MDB, mdb_text
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.words import DIRECTION_LABELS, REASON_LABELS


class TracedLink(NamedTuple):
    """What traces say of a link's loss: `known` with a reason where they do not say all, and bounds of what they do."""

    known: Judgement
    bounds: tuple[int, int] | None = None


class _Part(NamedTuple):
    """What one direction says that it loses, in 0.001 dB, and how much the joints that it does not show may."""

    traced: TracedLoss
    hidden_low_mdb: int
    hidden_high_mdb: int


def traced_link(fibre: FibreMeasured, span: Span, asked: LinkAttenuationCriterion) -> TracedLink:
    """Return the loss between two sites by the traces of the directions that are asked for, in 1e-12 dB.

    An end connection that one of them does not see, or that was mated to another cord, is left out: it can only add to
    the loss, so what is left is the least that the link loses.
    """
    ways = tests_from(fibre, asked.tested_from, test="otdr", wavelength_nm=asked.wavelength_nm, between=span)
    known = known_of(*ways)
    if known.reason is not None:
        return TracedLink(known)
    told = [(way, _part_of(fibre, span, way)) for way in ways]
    parts = [part for _, part in told if isinstance(part, _Part)]
    # Where either end is enough, what one direction does not tell the other may.
    if not parts or (len(parts) < len(told) and asked.tested_from is not From.EITHER):
        untold = [(way, part) for way, part in told if isinstance(part, Reason)]
        said = "; ".join(f"{DIRECTION_LABELS[way.is_forward]}: {REASON_LABELS[part]}" for way, part in untold)
        return TracedLink(known._replace(reason=untold[0][1], detail=said))
    bounds, reason, detail = _held_together(fibre, span, parts, asked.combination)
    if reason is not None and asked.tested_from is From.EITHER and len(parts) > 1:
        ends = (span.first, span.last)
        # One is enough: the worse of those that see both ends by themselves.
        alone = [one for one in parts if all(_end_fault(fibre, site, [one.traced.trace]) is None for site in ends)]
        if alone:
            parts = alone
            bounds, reason, detail = _held_together(fibre, span, parts, Combination.WORSE)
    readings = tuple([reading_of(one.traced.trace, one.traced.loss_mdb) for one in parts])
    return TracedLink(known._replace(reason=reason, detail=detail, readings=readings), bounds)


def _held_together(
    fibre: FibreMeasured, span: Span, parts: Sequence[_Part], combination: Combination
) -> tuple[tuple[int, int], Reason | None, str]:
    """Return bounds of what one or two directions lose, in 1e-12 dB, why they are not all of it, and both in words."""
    traces, reason, left_out = [one.traced.trace for one in parts], None, ""
    lows = [one.traced.loss_mdb + one.hidden_low_mdb for one in parts]
    highs = [one.traced.loss_mdb + one.hidden_high_mdb for one in parts]
    # Of the worse each is held by itself, with whatever cords it has.
    same_cords = combination is Combination.MEAN
    for site in (span.first, span.last):
        fault = _end_fault(fibre, site, traces, same_cords=same_cords)
        if fault is not None:
            reason, name = reason or fault, fibre.layout.design.sites[site].id
            lows = [low - _most_at(fibre, site, trace) for low, trace in zip(lows, traces, strict=True)]
            left_out = f"{left_out}, the connection at {name} left out: {REASON_LABELS[fault]}"
    detail = f"{_said(parts, combination)}{left_out}"
    low, high = _combine(lows, combination), _combine(highs, combination)
    if reason is not None:
        # Without an end connection it is the least of all that the link may lose.
        high = low
        detail = f"{detail}; at least {half_text(low)} dB"
    unit = PDB_PER_TENTH_MDB * TENTHS_PER_MDB
    return (low * unit // 2, high * unit // 2), reason, detail


def _combine(losses_mdb: Sequence[int], combination: Combination) -> int:
    """Return twice the mean of what one or two directions lose, or twice the worse, in 0.001 dB."""
    if combination is Combination.WORSE:
        return 2 * max(losses_mdb)
    return sum(losses_mdb) * 2 // len(losses_mdb)


def _said(parts: Sequence[_Part], combination: Combination) -> str:
    said = " and ".join(f"{mdb_text(one.traced.loss_mdb)} dB ({_way(one)})" for one in parts)
    if len(parts) == 1:
        return f"{said} by OTDR from one end, with what the glass at both ends scatters unlike"
    return f"{'the worse' if combination is Combination.WORSE else 'mean'} of {said} by OTDR"


def _part_of(fibre: FibreMeasured, span: Span, way: DirectionTest) -> _Part | Reason:
    """Return what one direction loses by the first trace that says it, of those that see most of both ends."""
    own = [one for one in way.measurements if isinstance(one, Trace) and one.span == (span.first, span.last)]
    reason = Reason.NO_EVIDENCE
    for trace in sorted(own, key=lambda one: -_ends_seen(fibre, span, one)):
        traced = traced_by(fibre, trace)
        if traced is None:
            reason = Reason.LOSS_NOT_STATED
            continue
        hidden = _hidden_mdb(fibre, span, trace) if not traced.is_total else (0, 0)
        if isinstance(hidden, Reason):
            reason = hidden
            continue
        return _Part(traced, *hidden)
    return reason


def _ends_seen(fibre: FibreMeasured, span: Span, trace: Trace) -> int:
    shown = fibre.aligned(trace).readings
    return sum(isinstance(shown.get(site), Reading) for site in (span.first, span.last))


def _hidden_mdb(fibre: FibreMeasured, span: Span, trace: Trace) -> tuple[int, int] | Reason:
    """Return how much the joints that a trace does not show may lose or gain: no part of it that it states has them."""
    shown = fibre.aligned(trace).readings
    unseen: list[Reading] = []
    for place in fibre.places:
        reading = shown.get(place.site_index)
        if not span.first < place.site_index < span.last or reading is None:
            continue
        if isinstance(reading, Reason):
            return reading
        if not reading.is_seen:
            unseen.append(reading)
    return sum(one.low_mdb for one in unseen), sum(one.high_mdb for one in unseen)


def _end_fault(fibre: FibreMeasured, site: int, traces: Sequence[Trace], *, same_cords: bool = True) -> Reason | None:
    """Return why the connection at an end was not measured by each of the traces, and the same by all if it has to."""
    if any((one.launch if one.ends[0] == site else one.receive) is None for one in traces):
        return Reason.NO_CORD
    shown = [fibre.aligned(one).readings.get(site, Reason.PAIR_NOT_SEEN) for one in traces]
    missing = next((one for one in shown if isinstance(one, Reason)), None)
    if missing is not None:
        return missing
    is_other = same_cords and len(traces) > 1 and cords_changed(site, traces[0], traces[1])
    return Reason.CORDS_CHANGED if is_other else None


def _most_at(fibre: FibreMeasured, site: int, trace: Trace) -> int:
    """Return the most of a trace's loss that may be that of a connection at its end."""
    shown = fibre.aligned(trace).readings.get(site)
    return max(shown.high_mdb, 0) if isinstance(shown, Reading) else 0


def _way(part: _Part) -> str:
    return DIRECTION_LABELS[part.traced.trace.is_forward]
