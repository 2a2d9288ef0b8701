"""What was measured of one fibre: the last stage before the rules, computed once for all of them.

Losses that some criterion asks for are here; what only few need, and costs, are functions of this value.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.criteria import Criteria, SegmentsProven
from service.vocabulary.criteria.joints import BendCriterion, EndFaceCriterion, JointLossCriterion
from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.criteria.workmanship import AttemptsAboveLoss, WorkmanshipCriterion
from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.bidirectional import BidirectionalLoss, combine
from worker.judgement.fibre.end_faces import end_face_fault, required_end_faces
from worker.judgement.fibre.joined import Joined, Unfinished, find_joined, unfinished_splices, whole_link
from worker.judgement.fibre.losses import PlaceLoss, PlaceLosses, PlainLosses, plain_losses
from worker.judgement.fibre.mode_fields import contradiction
from worker.judgement.history.acts import History, Link, LinkLoss, Record, Trace
from worker.judgement.history.history import read_history
from worker.judgement.history.validity import Side, Validity, judge_validity
from worker.judgement.numbers.exact import TENTHS_PER_MDB, is_below_fibre_alone, limit_mdb
from worker.judgement.traces.aligned_trace import AlignedTrace
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import (
    FibreTraces,
    OneWayLoss,
    UnexpectedEvent,
    align_fibre,
    find_fibre_sightings,
    losses_both_ways,
    one_way_loss,
    unexpected_events,
)
from worker.judgement.traces.sightings import SpanSightings
from worker.judgement.traces.spots import Spots
from worker.judgement.words import REASON_LABELS

# Splice plans of one route that what is ready for them is kept of, and of dead zones by pulses.
_MOST_PLACED = 64


@dataclass(frozen=True, eq=False, slots=True)
class PlacedJoints:
    """The joints in a fibre's segments, each with its place, by kind: one value for all fibres that are spliced alike.

    `splices` are those that are, by site and position. Rules keep by it what they make ready for such fibres.
    """

    places: tuple[Place, ...]
    of_kind: Mapping[JointKind, Sequence[tuple[Place, Joint]]]
    splices: frozenset[tuple[str, int]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Prepared:
    """What every fibre of a route is measured by.

    `wavelengths_nm` are those at which some criterion asks for the losses of places; readings of both directions that
    differ by no more than `alike_mdb` contradict no mode fields.
    """

    layout: Layout
    criteria: Criteria
    whole: Span
    last_index: int
    wavelengths_nm: tuple[int, ...]
    link_criteria: tuple[LinkAttenuationCriterion, ...]
    end_faces: Mapping[int, Sequence[EndFaceCriterion]]
    below_zero_tenth_mdb: int
    alike_mdb: int
    _placed: dict[tuple[int, tuple[str, ...]], PlacedJoints] = field(default_factory=dict, init=False)

    def placed(self, places: tuple[Place, ...], segments: tuple[str, ...]) -> PlacedJoints:
        """Return the joints at places that are in some segments: the same value for the same places."""
        key = id(places), segments
        kept = self._placed.get(key)
        # The value holds its places, so that no others come to have their identity.
        if kept is None or kept.places is not places:
            if len(self._placed) >= _MOST_PLACED:
                self._placed.clear()
            kept = self._placed[key] = _place_joints(places, segments)
        return kept

    def fault_of_loss(self, test: Link) -> Reason | None:
        """Return that a loss by source and meter is less, by any criterion, than the fibre alone must have."""
        if not isinstance(test, LinkLoss):
            return None
        offsets_um = self.layout.site_offsets_um
        length_um = offsets_um[test.high_index] - offsets_um[test.low_index]
        is_below = any(
            is_below_fibre_alone(
                loss_mdb=test.loss_mdb,
                least_mdb_per_km=limit_mdb(one.least_attenuation_db_per_km),
                length_um=length_um,
                uncertainty_mdb=limit_mdb(one.uncertainty_db),
            )
            for one in self.link_criteria
            if one.wavelength_nm == test.wavelength_nm and one.least_attenuation_db_per_km is not None
        )
        return Reason.BELOW_FIBRE_ALONE if is_below else None


@dataclass(frozen=True, kw_only=True, slots=True)
class FibreMeasured:
    """One fibre with all that was measured on it.

    `unfinished` are the splices, by site and position, that cannot conform before they are finished.
    `joined` tells how far its link is joined, which matters where a segment can be proven before that is whole.
    `places` are those of its joints in route order, and `placed` the joints in its segments, each with its place;
    `losses` are by wavelength and site index.
    """

    prepared: Prepared
    layout: Layout
    criteria: Criteria
    number: int
    segments: tuple[str, ...]
    joined: Joined
    joints: tuple[Joint, ...]
    is_continuous: bool
    history: History
    validity: Validity
    places: tuple[Place, ...]
    placed: PlacedJoints
    unfinished: Mapping[tuple[str, int], Unfinished]
    traces: FibreTraces
    losses: Mapping[int, PlaceLosses]
    unexpected: tuple[UnexpectedEvent, ...]
    # Several criteria ask for one test between two sites, or for what is lost there: it is looked for once. One that is
    # made of this fibre with something else in it looks anew.
    tests_found: dict[tuple[object, ...], object] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def length_um(self) -> int:
        """Fibre length of the design from end to end."""
        return self.layout.site_offsets_um[-1]

    @property
    def joints_of_kind(self) -> Mapping[JointKind, Sequence[tuple[Place, Joint]]]:
        """The joints in its segments by kind, each with its place."""
        return self.placed.of_kind

    @property
    def whole(self) -> Span:
        """The route from end to end."""
        return self.prepared.whole

    @property
    def end_sites(self) -> tuple[str, str]:
        """The route's two terminals."""
        return self.layout.design.sites[0].id, self.layout.design.sites[-1].id

    def aligned(self, trace: Trace) -> AlignedTrace:
        """Return what a trace shows at each place."""
        return self.traces.alignment.of(trace)

    def loss_at(self, place: Place, *, wavelength_nm: int) -> BidirectionalLoss:
        """Return the loss of a place from both directions."""
        return self.losses_at(wavelength_nm)[place.site_index].both

    def losses_at(self, wavelength_nm: int) -> PlaceLosses:
        """Return the losses of all places, by site index; worked out here where no criterion asks for them."""
        losses = self.losses.get(wavelength_nm)
        return losses or _measure_places(self.prepared, self.history, self.traces, wavelength_nm)


def prepare_measuring(layout: Layout, criteria: Criteria) -> Prepared:
    """Make a design and criteria ready."""
    asked = [nm for criterion in criteria.criteria for nm in _wavelengths_of_losses(criterion)]
    return Prepared(
        layout=layout,
        criteria=criteria,
        whole=Span(first=0, last=len(layout.design.sites) - 1),
        last_index=len(layout.design.sites) - 1,
        wavelengths_nm=tuple(dict.fromkeys(asked)),
        link_criteria=tuple([one for one in criteria.criteria if isinstance(one, LinkAttenuationCriterion)]),
        end_faces=required_end_faces(criteria, layout),
        below_zero_tenth_mdb=limit_mdb(criteria.mean_below_zero_db) * TENTHS_PER_MDB,
        alike_mdb=2 * limit_mdb(criteria.consistency.scattering_db),
    )


def measure_fibre(prepared: Prepared, *, fibre: int, records: Iterable[Record], spots: Spots) -> FibreMeasured:
    """Measure one fibre by its records: history, what of it counts, traces aligned, losses of places, tests."""
    layout, criteria = prepared.layout, prepared.criteria
    history = read_history(layout, fibre=fibre, rework_voids=criteria.rework_voids, records=records)
    validity = judge_validity(layout, history, fibre=fibre, criteria=criteria)
    segments = layout.segments_of_fibre.get(fibre, ())
    is_proven_in_parts = criteria.segments_proven is SegmentsProven.ALONE
    traces = align_fibre(spots, criteria.placing, fibre=fibre, history=history, validity=validity)
    return FibreMeasured(
        prepared=prepared,
        layout=layout,
        criteria=criteria,
        number=fibre,
        segments=segments,
        joined=(find_joined if is_proven_in_parts else whole_link)(layout, history, fibre=fibre),
        joints=layout.joints_of(fibre),
        is_continuous=layout.is_continuous(fibre),
        history=history,
        validity=validity,
        places=traces.places,
        placed=prepared.placed(traces.places, segments),
        unfinished=unfinished_splices(history, layout.joints_of(fibre)) if criteria.finished_splices_only else {},
        traces=traces,
        losses={nm: _measure_places(prepared, history, traces, nm) for nm in prepared.wavelengths_nm},
        unexpected=unexpected_events(traces),
    )


def sight_fibre(prepared: Prepared, *, fibre: int, records: Iterable[Record]) -> tuple[SpanSightings, ...]:
    """Return what a fibre's traces show by its records, wherever its joints are."""
    layout, criteria = prepared.layout, prepared.criteria
    history = read_history(layout, fibre=fibre, rework_voids=criteria.rework_voids, records=records)
    validity = judge_validity(layout, history, fibre=fibre, criteria=criteria)
    return find_fibre_sightings(layout, criteria.placing, fibre=fibre, history=history, validity=validity)


def measure_place(
    prepared: Prepared, history: History, place: Place, wavelength_nm: int, *, forward: OneWayLoss, backward: OneWayLoss
) -> PlaceLoss:
    """Return the loss of a place from what both directions show of it, or why that proves nothing."""
    both = combine(place, forward, backward, prepared.below_zero_tenth_mdb)
    if both.reason is not None:
        return PlaceLoss(forward, backward, both)
    if place.site_index in prepared.end_faces:
        fault = end_face_fault(history, place, prepared.end_faces[place.site_index])
        if fault is not None:
            both = both._replace(reason=fault, detail=f"{REASON_LABELS[fault]}; {both.detail}")
    if both.reason is None and abs(forward.readings[0].high_mdb - backward.readings[0].high_mdb) > prepared.alike_mdb:
        why = contradiction(
            prepared.layout,
            prepared.criteria.consistency,
            place,
            wavelength_nm,
            forward=forward,
            backward=backward,
        )
        if why is not None:
            detail = f"{REASON_LABELS[Reason.IMPOSSIBLE_PAIR]}: {both.detail}; {why}"
            both = both._replace(reason=Reason.IMPOSSIBLE_PAIR, detail=detail)
    return PlaceLoss(forward, backward, both)


def _place_joints(places: tuple[Place, ...], segments: Sequence[str]) -> PlacedJoints:
    own = [(place, joint) for place in places for joint in place.joints if joint.segment in segments]
    of_kind = {kind: [one for one in own if one[1].kind is kind] for kind in JointKind}
    splices = frozenset([(joint.site, joint.position) for _, joint in of_kind[JointKind.SPLICE]])
    return PlacedJoints(places, of_kind, splices)


def _measure_places(prepared: Prepared, history: History, traces: FibreTraces, wavelength_nm: int) -> PlaceLosses:
    """Return the losses of all places at one wavelength, by site index."""
    sides = Side(wavelength_nm, is_forward=True), Side(wavelength_nm, is_forward=False)
    plain = _plain_losses(prepared, traces, *sides)
    if plain is None:
        there, back = losses_both_ways(traces, wavelength_nm)
        ways = {place.site_index: way for place, *way in zip(traces.places, there, back, strict=True)}

    def measure(place: Place) -> PlaceLoss:
        # What is plain is hardly ever asked for alone.
        own = [one_way_loss(traces, place, side) for side in sides] if plain else ways[place.site_index]
        return measure_place(prepared, history, place, wavelength_nm, forward=own[0], backward=own[1])

    return PlaceLosses(traces.places, measure, plain=plain)


def _plain_losses(prepared: Prepared, traces: FibreTraces, forward: Side, backward: Side) -> PlainLosses | None:
    """Return the losses as columns, where one trace each way says all there is to say and shares no event."""
    there, back = traces.of_side(forward).sole, traces.of_side(backward).sole
    if there is None or back is None:
        return None
    one, other = traces.alignment.of(there).plain, traces.alignment.of(back).plain
    if one is None or other is None:
        return None
    return plain_losses(
        one,
        other,
        records=(there.stamp.id, back.stamp.id),
        within_mdb=prepared.alike_mdb,
        least_tenth_mdb=-prepared.below_zero_tenth_mdb,
        without=prepared.end_faces,
    )


def _wavelengths_of_losses(criterion: Criterion) -> Iterator[int]:
    match criterion:
        case JointLossCriterion():
            yield criterion.wavelength_nm
        case BendCriterion():
            yield from (criterion.short_wavelength_nm, criterion.long_wavelength_nm)
        case WorkmanshipCriterion(demand=AttemptsAboveLoss() as demand):
            yield demand.wavelength_nm
