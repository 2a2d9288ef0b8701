"""All traces of one fibre aligned to its places together: scale, echoes, each trace alone, then what all agree on.

Each step is a function of what the steps before it gave. A trace is first read by itself. Only where one is not clear
alone are the traces between the same two ends asked together, so that on nearly every fibre one pass is enough.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import median_low
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Placing
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import to_last_place, to_um
from worker.judgement.glass import reference_index_e5
from worker.judgement.history.acts import Trace
from worker.judgement.traces.aligned_trace import AlignedTrace, Reading
from worker.judgement.traces.distance_scale import DistanceScale, better_fit, measure
from worker.judgement.traces.doubts.agreement import Agreement, Sighting, find_doubts
from worker.judgement.traces.doubts.breaks import Breaks, ShortTrace, find_breaks, is_short
from worker.judgement.traces.doubts.crossed import find_unlike
from worker.judgement.traces.doubts.lost_losses import Reaches
from worker.judgement.traces.echoes import Echo, find_echoes, reflects, take_off
from worker.judgement.traces.noise import TraceNoise
from worker.judgement.traces.places import (
    DeadZone,
    Place,
    PlacesBetween,
    Plan,
    places_between,
    pulse_um_of,
    zones_of,
)
from worker.judgement.traces.trace_alignment import align_trace

_Ends = tuple[int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class Designed:
    """What traces are aligned to: the places of one fibre, in dead zones of the pulse that sees the least apart."""

    plan: Plan
    placing: Placing
    places: tuple[Place, ...]
    pulse_ns: int

    @property
    def near_um(self) -> int:
        """How far from where it is expected an event may lie on the shortest span."""
        return to_um(self.placing.tolerance_m)

    @property
    def same_spot_um(self) -> int:
        """How near together instruments at both ends place one joint: within a few metres, common practice."""
        return self.near_um // 2


class ScaledTrace(NamedTuple):
    """A trace with where the design lies on it, its echoes taken off."""

    trace: Trace
    scale: DistanceScale
    echoes: tuple[Echo, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Alignment:
    """The aligned traces by their records, and where they say that the fibre is broken."""

    plan: Plan
    traces: Mapping[str, AlignedTrace]
    breaks: Breaks

    def spot_um(self, aligned: AlignedTrace, at_um: int) -> int:
        """Return how far from A in the design what a trace shows at a distance lies, by the sites around it."""
        way = places_between(self.plan, aligned.trace.ends)
        return way.spot_um(aligned.scale.along_um(at_um))

    def of(self, trace: Trace) -> AlignedTrace:
        """Return what one trace shows."""
        return self.traces[trace.stamp.id]


def dead_zone_of(pulse_ns: int, placing: Placing) -> DeadZone:
    """Return how far apart joints have to lie for a pulse to show each as an event of its own."""
    return _dead_zone(pulse_ns, placing.dead_zone_pulses, placing.parted_pulses)


@lru_cache(maxsize=256)
def _dead_zone(pulse_ns: int, beside_pair: float, beside_splice: float) -> DeadZone:
    pulse_um = pulse_um_of(pulse_ns)
    return DeadZone(*[pulse_um * to_last_place(pulses, places=1) // 10 for pulses in (beside_pair, beside_splice)])


def scale_traces(designed: Designed, *, valid: Sequence[Trace], every: Sequence[Trace]) -> Mapping[str, ScaledTrace]:
    """Find the scale and the echoes of every trace of a fibre by those that count somewhere, for each record."""
    ways = {ends: places_between(designed.plan, ends) for ends in {one.ends for one in every}}
    groups = _by_span(valid)
    measured = {one.stamp.id: _measure(designed, one, ways[one.ends]) for one in every}
    scaled = {one.stamp.id: _scale(one, groups[one.span], measured, ways[one.ends]) for one in every}
    found: dict[str, ScaledTrace] = {}
    for one in every:
        way = ways[one.ends]
        back = [other.stamp.id for other in groups[one.span] if other.is_forward is not one.is_forward]
        # Echoes come off before places are looked for: an echo within tolerance of a joint would be taken for it.
        scale = scaled[one.stamp.id].confirmed_by([measured[other] for other in back], way.inside_um)
        echoes = _find_echoes(designed, one, scale, way, [scaled[other] for other in back])
        found[one.stamp.id] = ScaledTrace(one, take_off(scale, echoes) if echoes else scale, echoes)
    return found


def align(designed: Designed, scaled: Mapping[str, ScaledTrace], *, valid: Sequence[Trace]) -> Alignment:
    """Align every trace of a fibre, by those that count somewhere."""
    alone: dict[str, AlignedTrace] = {}
    for record, (trace, scale, echoes) in scaled.items():
        aligned = _align(designed, trace, scale, places_between(designed.plan, trace.ends))
        alone[record] = replace(aligned, echoes=echoes) if echoes else aligned
    return _align_together(designed, alone, valid=valid)


def _by_span(valid: Sequence[Trace]) -> Mapping[_Ends, list[Trace]]:
    # Only a trace that counts somewhere, and lies between the same two ends, may say anything of another one.
    groups: dict[_Ends, list[Trace]] = defaultdict(list)
    for one in valid:
        groups[one.span].append(one)
    return groups


def _measure(designed: Designed, trace: Trace, way: PlacesBetween) -> DistanceScale:
    reference = reference_index_e5(designed.plan.layout, trace.span, trace.wavelength_nm)
    return measure(trace, way, designed.placing, reference_index_e5=reference)


def _scale(
    trace: Trace, group: Sequence[Trace], measured: Mapping[str, DistanceScale], way: PlacesBetween
) -> DistanceScale:
    """Return a trace's scale, by that of full traces where it has none of its own."""
    scale = measured[trace.stamp.id]
    if scale.length_um is not None or scale.shortfall is Reason.LENGTH_UNLIKE:
        return scale
    full = [(other, one.index.in_glass_um(one.laid_um)) for other in group if (one := measured[other.stamp.id]).is_own]
    # Glass carries each wavelength at another speed, so that a trace at the same one goes before any other.
    own = [laid_um for other, laid_um in full if other.wavelength_nm == trace.wavelength_nm]
    laid_um = own or [laid_um for _, laid_um in full]
    if not laid_um:
        return scale
    # Full traces know the scale better than the few events of a short one, unless these contradict it. It is then as
    # good as known, so that no share of the distance is left in doubt.
    as_full = replace(scale, laid_um=scale.index.on_trace_um(median_low(laid_um)), scale_percent=0)
    return better_fit(as_full, scale.laid_um, way.inside_um)


def _find_echoes(
    designed: Designed, trace: Trace, scale: DistanceScale, way: PlacesBetween, back: Sequence[DistanceScale]
) -> tuple[Echo, ...]:
    echoes = find_echoes(
        trace, scale, pairs_along_um=way.pairs_um, joints_along_um=way.inside_um, near_um=designed.near_um
    )
    return tuple(echo for echo in echoes if not _is_seen_back(scale, echo, back))


def _is_seen_back(scale: DistanceScale, echo: Echo, back: Iterable[DistanceScale]) -> bool:
    """Tell whether a trace from the other end has a reflection where an echo is: then it is none.

    Echoes lie at sums of distances from the port, which from the other end fall somewhere else.
    """
    along_um = scale.along_um(echo.event.at_um)
    return any(
        reflects(event) for other in back for event in other.events_near(other.on_trace_um(scale.span_um - along_um))
    )


def _align(designed: Designed, trace: Trace, scale: DistanceScale, way: PlacesBetween) -> AlignedTrace:
    noise = TraceNoise(trace, unseen_within_db=designed.placing.unseen_within_db)
    reaches = Reaches(
        off_spot_um=to_um(designed.placing.off_spot_m),
        merged=dead_zone_of(trace.pulse_ns, designed.placing),
        same_um=designed.same_spot_um,
    )
    aligned = align_trace(trace, between=way, scale=scale, noise=noise, reaches=reaches)
    if trace.pulse_ns <= designed.pulse_ns:
        return aligned
    # A longer pulse than the zones were made for hides more places from each other, unless it shows them all.
    own = zones_of(designed.places, dead_zone_of(trace.pulse_ns, designed.placing))
    known, seen = {place.zone for place in designed.places}, aligned.sites_seen()
    hidden = [site for zone in own if zone not in known and not seen.issuperset(zone) for site in zone]
    return aligned.without(hidden, Reason.GROUP_ONLY)


def _align_together(designed: Designed, alone: Mapping[str, AlignedTrace], *, valid: Sequence[Trace]) -> Alignment:
    """Return the alignment, after those spans were looked at together that have a trace that is not clear alone.

    All traces of such a span are: one that is clear alone may take for a joint what another shows beside it.
    """
    unclear = sorted({trace.span for trace in valid if not alone[trace.stamp.id].is_clean})
    if not unclear:
        # Asking traces together costs, and on nearly every fibre each is clear by itself.
        return Alignment(plan=designed.plan, traces=alone, breaks=_find_breaks(designed, alone, valid))
    judged = {record: _with_unlike(designed, one) for record, one in alone.items()}
    traces, groups = dict(judged), _by_span(valid)
    for span in unclear:
        way = places_between(designed.plan, span)
        agreed = _agree(designed, [judged[one.stamp.id] for one in groups[span]], way)
        for record, one in judged.items():
            if one.trace.span == span:
                traces[record] = _without_doubts(one, agreed, way, same_um=designed.same_spot_um)
    return Alignment(plan=designed.plan, traces=traces, breaks=_find_breaks(designed, traces, valid))


def _with_unlike(designed: Designed, aligned: AlignedTrace) -> AlignedTrace:
    """Say of a trace that is not clear alone whether it is likelier to be of another fibre, or from the other end."""
    if aligned.is_clean:
        return aligned
    own_sites = [place.site_index for place in designed.places]
    return replace(aligned, unlike=find_unlike(designed.plan.spots, aligned.trace, aligned.scale, own_sites=own_sites))


def _without_doubts(alone: AlignedTrace, agreed: Agreement, way: PlacesBetween, *, same_um: int) -> AlignedTrace:
    if alone.unlike is not None:
        return alone.proving_nothing(alone.unlike.reason)
    # Where this trace has taken an event for a joint that the others show elsewhere, its reading would be the loss of
    # something else, good or bad: it proves nothing.
    doubted = {way.places[member].site_index for index in agreed.doubted for member in way.members[index]}
    for index, along_um in agreed.rivalled.items():
        site = way.places[way.members[index][0]].site_index
        shown_um = [alone.scale.from_a_um(event.at_um) - way.near_um for event in alone.events_at(site)]
        if shown_um and all(abs(at_um - along_um) > same_um for at_um in shown_um):
            doubted.add(site)
    return alone.without(doubted, Reason.AMBIGUOUS_EVENT)


def _agree(designed: Designed, own: Sequence[AlignedTrace], way: PlacesBetween) -> Agreement:
    """Return what the full traces of a span leave in doubt, by the targets from its end nearer to A."""
    full = [one for one in own if one.scale.shortfall is None and one.unlike is None]
    if not full:
        return Agreement(frozenset(), {})
    tolerance_um = full[0].scale.tolerance_um
    sightings = [
        Sighting(one.scale.from_a_um(at_um) - way.near_um, one.trace.stamp.id, one.trace.is_forward)
        for one in full
        for at_um in _first_of_each_spot(one.scale.events.at_um, same_um=designed.same_spot_um)
    ]
    return find_doubts(
        [one for one in sightings if -tolerance_um <= one.along_um <= way.span_um + tolerance_um],
        [target if target.within_um is not None else target.reaching(tolerance_um) for target in way.targets],
        same_spot_um=designed.same_spot_um,
    )


def _first_of_each_spot(events_um: Iterable[int], *, same_um: int) -> Iterator[int]:
    last_um: int | None = None
    for at_um in events_um:
        if last_um is None or at_um - last_um >= same_um:
            yield at_um
            last_um = at_um


def _find_breaks(designed: Designed, traces: Mapping[str, AlignedTrace], valid: Sequence[Trace]) -> Breaks:
    own = [traces[trace.stamp.id] for trace in valid]
    short = [
        ShortTrace(
            one.trace,
            one.scale,
            one.scale.from_a_um(one.scale.reach_um),
            one.scale.doubt_um(one.scale.reach_um, joint_um=_farthest_joint_um(one)),
        )
        for one in own
        if is_short(one.scale) and one.unlike is None
    ]
    return find_breaks(short, offsets_um=designed.plan.layout.site_offsets_um) if short else Breaks((), ())


def _farthest_joint_um(aligned: AlignedTrace) -> int | None:
    low, high = aligned.trace.span
    inside = (one for site, one in aligned.readings.items() if low < site < high)
    return max((one.events[0].at_um for one in inside if isinstance(one, Reading) and one.events), default=None)
