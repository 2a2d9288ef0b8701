"""Where one fibre's traces show losses, wherever the design has joints: its part in telling where those really lie.

A function of the design and of the records that count, never of where joints were found before.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import NamedTuple

from service.vocabulary.quantities import UM_PER_CM, round_half_even
from service.vocabulary.records.words import EventKind
from worker.judgement.history.acts import Trace
from worker.judgement.traces.distance_scale import DistanceScale
from worker.judgement.traces.echoes import is_lossless
from worker.judgement.traces.event_assignment import within
from worker.judgement.traces.places import blur_um, pulse_um_of


class SpanSightings(NamedTuple):
    """What the traces of a fibre between two sites show, in the design's fibre distance from A, ascending.

    `rise_mdb` says of each how much more it loses at the longest wavelength than at the shortest, where both were
    measured. `pulse_ns` is the pulse of the sharpest traces.
    """

    low_index: int
    high_index: int
    pulse_ns: int
    at_cm: tuple[int, ...]
    rise_mdb: tuple[int | None, ...]


class _Seen(NamedTuple):
    from_a_um: int
    record: str
    number: int
    wavelength_nm: int
    loss_mdb: int


def find_sightings(scaled: Iterable[tuple[Trace, DistanceScale]], *, same_spot_um: int) -> tuple[SpanSightings, ...]:
    """Return what a fibre's traces show, by the two sites between which they were taken."""
    # Only a trace that proves its own length tells distances.
    full = sorted(
        [(trace.span, trace.pulse_ns, trace.stamp.id, trace, scale) for trace, scale in scaled if not scale.shortfall]
    )
    return tuple(
        _in_span(span, [(one[3], one[4]) for one in own], same_spot_um=same_spot_um)
        for span, own in groupby(full, key=lambda one: one[0])
    )


def _in_span(span: tuple[int, int], own: Sequence[tuple[Trace, DistanceScale]], *, same_spot_um: int) -> SpanSightings:
    found: list[tuple[int, int | None]] = []
    for pulse_ns, alike in groupby(own, key=lambda one: one[0].pulse_ns):
        both = list(alike)
        reach_um, own_spot_um = 2 * pulse_um_of(pulse_ns) + same_spot_um, max(same_spot_um, blur_um(pulse_ns))
        seen = sorted(_seen(both, same_spot_um=same_spot_um))
        if found:
            # A duller trace adds nothing where a sharper one shows something: it may have merged that with what is
            # beside.
            sharper_um = sorted([at_um for at_um, _ in found])
            seen = [one for one in seen if not within(sharper_um, one.from_a_um, reach_um, key=int)]
        wavelengths = _wavelengths(both)
        found += [_sighting(wavelengths, cluster) for cluster in _clusters(seen, same_spot_um=own_spot_um)]
    in_order = sorted(found, key=lambda one: one[0])
    return SpanSightings(
        *span,
        pulse_ns=own[0][0].pulse_ns,
        at_cm=tuple([round_half_even(at_um, unit=UM_PER_CM) for at_um, _ in in_order]),
        rise_mdb=tuple([rise for _, rise in in_order]),
    )


def _seen(own: Iterable[tuple[Trace, DistanceScale]], *, same_spot_um: int) -> Iterator[_Seen]:
    """Give the losses inside the span; what reflects and loses nothing may be an echo of anything."""
    plain = EventKind.NON_REFLECTIVE
    for trace, scale in own:
        first_um, last_um = scale.start_um + 2 * same_spot_um, scale.end_um - 2 * same_spot_um
        threshold_mdb = trace.threshold_mdb
        inside = [
            event
            for event in scale.events
            if event.loss_mdb is not None
            and first_um < event.at_um < last_um
            and (event.kind is plain or not is_lossless(event, threshold_mdb=threshold_mdb))
        ]
        record, nm = trace.stamp.id, trace.wavelength_nm
        for event, from_a_um in zip(inside, scale.all_from_a_um([event.at_um for event in inside]), strict=True):
            yield _Seen(from_a_um, record, event.number, nm, event.loss_mdb or 0)


def _clusters(seen: Iterable[_Seen], *, same_spot_um: int) -> Iterator[list[_Seen]]:
    own: list[_Seen] = []
    records: set[str] = set()
    last_um = 0
    for one in seen:
        # A trace shows one joint once, so that its second event nearby is another's.
        if own and (one.from_a_um > last_um or one.record in records):
            yield own
            own = []
            records.clear()
        if not own:
            last_um = one.from_a_um + same_spot_um
        own.append(one)
        records.add(one.record)
    if own:
        yield own


def _wavelengths(own: Iterable[tuple[Trace, DistanceScale]]) -> tuple[int, int, int] | None:
    """Return the shortest and the longest wavelength and how many traces of each, where each has as many."""
    traces_of: dict[int, int] = defaultdict(int)
    for trace, _ in own:
        traces_of[trace.wavelength_nm] += 1
    counts = set(traces_of.values())
    return None if len(traces_of) < 2 or len(counts) != 1 else (min(traces_of), max(traces_of), counts.pop())


def _sighting(wavelengths: tuple[int, int, int] | None, cluster: Sequence[_Seen]) -> tuple[int, int | None]:
    """Return where traces show a loss, and how much more of it at the longest wavelength; unseen is nothing lost."""
    at_um = cluster[(len(cluster) - 1) // 2].from_a_um
    if wavelengths is None:
        return at_um, None
    short_nm, long_nm, traces = wavelengths
    more_mdb = 0
    for one in cluster:
        if one.wavelength_nm == long_nm:
            more_mdb += one.loss_mdb
        elif one.wavelength_nm == short_nm:
            more_mdb -= one.loss_mdb
    return at_um, more_mdb // traces
