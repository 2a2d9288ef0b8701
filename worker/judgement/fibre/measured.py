"""What was measured of one fibre: the last stage before the rules, computed once for all of them.

Losses that some criterion asks for are here; what only few need, and costs, are functions of this value.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Joint, Layout
from worker.judgement.fibre.bidirectional import BidirectionalLoss, combine
from worker.judgement.fibre.end_faces import end_face_fault
from worker.judgement.fibre.prepared import Prepared
from worker.judgement.history.acts import History, Record, Trace
from worker.judgement.history.history import read_history
from worker.judgement.history.validity import Side, Validity, judge_validity
from worker.judgement.traces.aligned_trace import AlignedTrace
from worker.judgement.traces.places import Place
from worker.judgement.traces.readings import (
    FibreTraces,
    OneWayLoss,
    UnexpectedEvent,
    align_fibre,
    one_way_losses,
    unexpected_events,
)
from worker.judgement.words import REASON_LABELS


class PlaceLoss(NamedTuple):
    """The loss of a place: in each direction, and from both."""

    forward: OneWayLoss
    backward: OneWayLoss
    both: BidirectionalLoss


@dataclass(frozen=True, kw_only=True, slots=True)
class FibreMeasured:
    """One fibre with all that was measured on it.

    `places` are those of its joints in route order; `losses` are by wavelength and site index.
    """

    prepared: Prepared
    layout: Layout
    criteria: Criteria
    number: int
    segments: tuple[str, ...]
    joints: tuple[Joint, ...]
    is_continuous: bool
    history: History
    validity: Validity
    places: tuple[Place, ...]
    traces: FibreTraces
    losses: Mapping[int, Mapping[int, PlaceLoss]]
    unexpected: tuple[UnexpectedEvent, ...]

    @property
    def length_um(self) -> int:
        """Fibre length of the design from end to end."""
        return self.layout.site_offsets_um[-1]

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

    def one_way_loss_at(self, place: Place, *, wavelength_nm: int, is_forward: bool) -> OneWayLoss:
        """Return what one direction shows of a place, by every trace that counts and reaches over it."""
        loss = self.losses_at(wavelength_nm)[place.site_index]
        return loss.forward if is_forward else loss.backward

    def losses_at(self, wavelength_nm: int) -> Mapping[int, PlaceLoss]:
        """Return the losses of all places, by site index; worked out here where no criterion asks for them."""
        losses = self.losses.get(wavelength_nm)
        return losses or _measure_places(self.prepared, self.history, self.traces, wavelength_nm)


def measure_fibre(prepared: Prepared, *, fibre: int, records: Iterable[Record]) -> FibreMeasured:
    """Measure one fibre by its records: history, what of it counts, traces aligned, losses of places, tests."""
    layout, criteria = prepared.layout, prepared.criteria
    history = read_history(layout, fibre=fibre, rework_voids=criteria.rework_voids, records=records)
    validity = judge_validity(layout, history, final_after_sealing=criteria.final_after_sealing)
    joints = layout.joints_of(fibre)
    traces = align_fibre(layout, criteria.placing, fibre=fibre, history=history, validity=validity)
    return FibreMeasured(
        prepared=prepared,
        layout=layout,
        criteria=criteria,
        number=fibre,
        segments=layout.segments_of_fibre.get(fibre, ()),
        joints=joints,
        is_continuous=layout.is_continuous(fibre),
        history=history,
        validity=validity,
        places=traces.places,
        traces=traces,
        losses={nm: _measure_places(prepared, history, traces, nm) for nm in prepared.wavelengths_nm},
        unexpected=unexpected_events(traces),
    )


def _measure_places(
    prepared: Prepared, history: History, traces: FibreTraces, wavelength_nm: int
) -> Mapping[int, PlaceLoss]:
    """Return the losses of all places at one wavelength, by site index."""
    forward, backward = (one_way_losses(traces, Side(wavelength_nm, is_forward)) for is_forward in (True, False))
    losses: dict[int, PlaceLoss] = {}
    for place, there, back in zip(traces.places, forward, backward, strict=True):
        both = combine(place, there, back, below_zero_tenth_mdb=prepared.below_zero_tenth_mdb)
        if both.reason is None and place.site_index in prepared.end_face_sites:
            fault = end_face_fault(history, place)
            if fault is not None:
                both = both._replace(reason=fault, detail=f"{REASON_LABELS[fault]}; {both.detail}")
        losses[place.site_index] = PlaceLoss(there, back, both)
    return losses
