"""What was measured of one fibre: the last stage before the rules, computed once for all of them.

Losses that some criterion asks for are here; what only few need, and costs, are functions of this value.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

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
from worker.judgement.fibre.joined import Joined, find_joined, whole_link
from worker.judgement.fibre.mode_fields import contradiction
from worker.judgement.fibre.unfinished import Unfinished, unfinished_splices
from worker.judgement.history.acts import History, Link, LinkLoss, Record, Trace
from worker.judgement.history.history import read_history
from worker.judgement.history.validity import Validity, judge_validity
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
    unexpected_events,
)
from worker.judgement.traces.sightings import SpanSightings
from worker.judgement.traces.spots import Spots
from worker.judgement.words import REASON_LABELS


class PlaceLoss(NamedTuple):
    """The loss of a place: in each direction, and from both."""

    forward: OneWayLoss
    backward: OneWayLoss
    both: BidirectionalLoss


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
    `places` are those of its joints in route order, and `joints_of_kind` those in its segments, each with its place;
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
    joints_of_kind: Mapping[JointKind, Sequence[tuple[Place, Joint]]]
    unfinished: Mapping[tuple[str, int], Unfinished]
    traces: FibreTraces
    losses: Mapping[int, Mapping[int, PlaceLoss]]
    unexpected: tuple[UnexpectedEvent, ...]

    @property
    def length_um(self) -> int:
        """Fibre length of the design from end to end."""
        return self.layout.site_offsets_um[-1]

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

    def losses_at(self, wavelength_nm: int) -> Mapping[int, PlaceLoss]:
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
        joints_of_kind=_joints_of_kind(traces.places, segments),
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


def _joints_of_kind(
    places: Iterable[Place], segments: Sequence[str]
) -> Mapping[JointKind, Sequence[tuple[Place, Joint]]]:
    own = [(place, joint) for place in places for joint in place.joints if joint.segment in segments]
    return {kind: [one for one in own if one[1].kind is kind] for kind in JointKind}


def _measure_places(
    prepared: Prepared, history: History, traces: FibreTraces, wavelength_nm: int
) -> Mapping[int, PlaceLoss]:
    """Return the losses of all places at one wavelength, by site index."""
    forward, backward = losses_both_ways(traces, wavelength_nm)
    return {
        place.site_index: measure_place(prepared, history, place, wavelength_nm, forward=there, backward=back)
        for place, there, back in zip(traces.places, forward, backward, strict=True)
    }


def _wavelengths_of_losses(criterion: Criterion) -> Iterator[int]:
    match criterion:
        case JointLossCriterion():
            yield criterion.wavelength_nm
        case BendCriterion():
            yield from (criterion.short_wavelength_nm, criterion.long_wavelength_nm)
        case WorkmanshipCriterion(demand=AttemptsAboveLoss() as demand):
            yield demand.wavelength_nm
