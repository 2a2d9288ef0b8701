"""Where one fibre's traces show losses, wherever the design has joints: its part in telling where those really lie.

A function of the design and of the records that count, never of where joints were found before.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate, compress, groupby
from operator import itemgetter, neg, sub
from typing import Any, NamedTuple

from service.vocabulary.quantities import UM_PER_CM
from service.vocabulary.records.words import EventKind
from worker.judgement.history.acts import Trace
from worker.judgement.traces.distance_scale import DistanceScale
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


# The shortest, the longest, and how many traces there are of each.
_Wavelengths = tuple[int, int, int]


class _Seen(NamedTuple):
    from_a_um: int
    record: str
    number: int
    wavelength_nm: int
    loss_mdb: int


class _Losses(NamedTuple):
    """The losses that one trace shows inside its span, as columns from A on."""

    trace: Trace
    from_a_um: Sequence[int]
    numbers: Sequence[int]
    losses_mdb: Sequence[int]

    def more_mdb(self, wavelengths: _Wavelengths) -> Sequence[int]:
        """Return what they are in how much more is lost at the longest wavelength than at the shortest."""
        short_nm, long_nm, _ = wavelengths
        if self.trace.wavelength_nm == long_nm:
            return self.losses_mdb
        return [*map(neg, self.losses_mdb)] if self.trace.wavelength_nm == short_nm else [0] * len(self.losses_mdb)

    def one_by_one(self) -> Iterator[_Seen]:
        """Give them one after the other."""
        record, nm = self.trace.stamp.id, self.trace.wavelength_nm
        for from_a_um, number, loss_mdb in zip(self.from_a_um, self.numbers, self.losses_mdb, strict=True):
            yield _Seen(from_a_um, record, number, nm, loss_mdb)


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
        columns, wavelengths = [_losses(*one, same_spot_um=same_spot_um) for one in both], _wavelengths(both)
        plain = None if found else _plain_sightings(columns, wavelengths, same_spot_um=own_spot_um)
        if plain is not None:
            found = plain
            continue
        seen = sorted(one for column in columns for one in column.one_by_one())
        if found:
            # A duller trace adds nothing where a sharper one shows something: it may have merged that with what is
            # beside.
            sharper_um = sorted([at_um for at_um, _ in found])
            seen = [one for one in seen if not within(sharper_um, one.from_a_um, reach_um, key=int)]
        found += [_sighting(wavelengths, cluster) for cluster in _clusters(seen, same_spot_um=own_spot_um)]
    in_order = sorted(found, key=itemgetter(0))
    return SpanSightings(
        *span,
        pulse_ns=own[0][0].pulse_ns,
        at_cm=_in_cm([at_um for at_um, _ in in_order]),
        rise_mdb=tuple([rise for _, rise in in_order]),
    )


def _in_cm(all_um: Sequence[int]) -> tuple[int, ...]:
    """Return distances rounded half to even, as of one it is done elsewhere."""
    half_um = UM_PER_CM // 2
    parted = [divmod(at_um, UM_PER_CM) for at_um in all_um]
    return tuple([at_cm + (rest > half_um or (rest == half_um and at_cm & 1)) for at_cm, rest in parted])


def _losses(trace: Trace, scale: DistanceScale, *, same_spot_um: int) -> _Losses:
    """Return the losses inside the span; what reflects and loses nothing may be an echo of anything."""
    events, plain = scale.events, EventKind.NON_REFLECTIVE
    inside = events.span(scale.start_um + 2 * same_spot_um + 1, scale.end_um - 2 * same_spot_um - 1)
    columns: list[Any] = [column[inside] for column in (events.at_um, events.numbers, events.losses_mdb)]
    kinds = events.kinds[inside]
    if None in columns[-1] or kinds.count(plain) < len(kinds):
        told = [
            loss_mdb is not None and (kind is plain or abs(loss_mdb) > trace.threshold_mdb)
            for kind, loss_mdb in zip(kinds, columns[-1], strict=True)
        ]
        columns = [[*compress(column, told)] for column in columns]
    at_um, numbers, losses_mdb = columns
    step = 1 if trace.is_forward else -1
    return _Losses(trace, scale.all_from_a_um(at_um)[::step], numbers[::step], losses_mdb[::step])


def _plain_sightings(
    columns: Sequence[_Losses], wavelengths: _Wavelengths | None, *, same_spot_um: int
) -> list[tuple[int, int | None]] | None:
    """Return the sightings of traces where what lies near together is certainly of one joint, as nearly always."""
    all_um = [at_um for one in columns for at_um in one.from_a_um]
    gaps_um = [min(map(sub, one.from_a_um[1:], one.from_a_um), default=same_spot_um + 1) for one in columns]
    if not all_um or min(gaps_um) <= same_spot_um or len({one.trace.stamp.id for one in columns}) < len(columns):
        return None
    order = sorted(range(len(all_um)), key=all_um.__getitem__)
    in_order_um = [all_um[index] for index in order]
    steps_um = map(sub, in_order_um[1:], in_order_um)
    firsts = [0, *[index for index, step_um in enumerate(steps_um, start=1) if step_um > same_spot_um]]
    spots = [*zip(firsts, [*firsts[1:], len(order)], strict=True)]
    if any(in_order_um[behind - 1] - in_order_um[first] > same_spot_um for first, behind in spots):
        return None
    middles_um = [in_order_um[(first + behind - 1) // 2] for first, behind in spots]
    if wavelengths is None:
        return [(at_um, None) for at_um in middles_um]
    more_mdb = [loss_mdb for one in columns for loss_mdb in one.more_mdb(wavelengths)]
    before_mdb, traces = [0, *accumulate([more_mdb[index] for index in order])], wavelengths[-1]
    return [
        (at_um, (before_mdb[behind] - before_mdb[first]) // traces)
        for at_um, (first, behind) in zip(middles_um, spots, strict=True)
    ]


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


def _wavelengths(own: Iterable[tuple[Trace, DistanceScale]]) -> _Wavelengths | None:
    """Return the shortest and the longest wavelength and how many traces of each, where each has as many."""
    traces_of: dict[int, int] = defaultdict(int)
    for trace, _ in own:
        traces_of[trace.wavelength_nm] += 1
    counts = set(traces_of.values())
    return None if len(traces_of) < 2 or len(counts) != 1 else (min(traces_of), max(traces_of), counts.pop())


def _sighting(wavelengths: _Wavelengths | None, cluster: Sequence[_Seen]) -> tuple[int, int | None]:
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
