"""The loss of a link by its traces: the mean of what both directions lose from before one end to behind the other."""

from typing import NamedTuple

from service.vocabulary.design.layout import Span
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.bidirectional import cords_changed
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.left_out import TracedLoss, half_text, traced_by
from worker.judgement.fibre.link_tests import DirectionTest, both_ways, known_of, reading_of
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


def traced_link(fibre: FibreMeasured, span: Span, *, wavelength_nm: int) -> TracedLink:
    """Return the loss between two sites by the traces of both directions, in 1e-12 dB.

    An end connection that one of them does not see, or that was mated to another cord, is left out: it can only add to
    the loss, so what is left is the least that the link loses.
    """
    ways = both_ways(fibre, test="otdr", wavelength_nm=wavelength_nm, between=span)
    known = known_of(*ways)
    if known.reason is not None:
        return TracedLink(known)
    parts = [_part_of(fibre, span, way) for way in ways]
    untold = [(way, part) for way, part in zip(ways, parts, strict=True) if isinstance(part, Reason)]
    if untold:
        said = "; ".join(f"{DIRECTION_LABELS[way.is_forward]}: {REASON_LABELS[part]}" for way, part in untold)
        return TracedLink(known._replace(reason=untold[0][1], detail=said))
    forward, backward = (part for part in parts if isinstance(part, _Part))
    low_mdb = forward.traced.loss_mdb + backward.traced.loss_mdb
    high_mdb = low_mdb + forward.hidden_high_mdb + backward.hidden_high_mdb
    low_mdb += forward.hidden_low_mdb + backward.hidden_low_mdb
    said = " and ".join(f"{mdb_text(one.traced.loss_mdb)} dB ({_way(one)})" for one in (forward, backward))
    detail, reason = f"mean of {said} by OTDR", None
    for site in (span.first, span.last):
        fault = _end_fault(fibre, site, forward.traced.trace, backward.traced.trace)
        if fault is not None:
            reason, name = reason or fault, fibre.layout.design.sites[site].id
            low_mdb -= sum(_most_at(fibre, site, one.traced.trace) for one in (forward, backward))
            detail = f"{detail}, the connection at {name} left out: {REASON_LABELS[fault]}"
    if reason is not None:
        # Without an end connection it is the least of all that the link may lose.
        high_mdb = low_mdb
        detail = f"{detail}; at least {half_text(low_mdb)} dB"
    readings = [reading_of(one.traced.trace, one.traced.loss_mdb) for one in (forward, backward)]
    bounds = low_mdb * PDB_PER_TENTH_MDB * TENTHS_PER_MDB // 2, high_mdb * PDB_PER_TENTH_MDB * TENTHS_PER_MDB // 2
    return TracedLink(known._replace(reason=reason, detail=detail, readings=tuple(readings)), bounds)


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


def _end_fault(fibre: FibreMeasured, site: int, there: Trace, back: Trace) -> Reason | None:
    """Return why the connection at an end was not measured from both ends."""
    if any((one.launch if one.ends[0] == site else one.receive) is None for one in (there, back)):
        return Reason.NO_CORD
    shown = [fibre.aligned(one).readings.get(site, Reason.PAIR_NOT_SEEN) for one in (there, back)]
    missing = next((one for one in shown if isinstance(one, Reason)), None)
    if missing is not None:
        return missing
    return Reason.CORDS_CHANGED if cords_changed(site, there, back) else None


def _most_at(fibre: FibreMeasured, site: int, trace: Trace) -> int:
    """Return the most of a trace's loss that may be that of a connection at its end."""
    shown = fibre.aligned(trace).readings.get(site)
    return max(shown.high_mdb, 0) if isinstance(shown, Reading) else 0


def _way(part: _Part) -> str:
    return DIRECTION_LABELS[part.traced.trace.is_forward]
