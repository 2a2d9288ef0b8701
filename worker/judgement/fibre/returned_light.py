"""What a trace says that its fibre sends back: its events where they lie in the design, and the glass between them."""

from collections.abc import Sequence
from typing import NamedTuple

from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import UM_PER_KM, metres_text
from service.vocabulary.records.words import EventKind, Qualifier
from service.vocabulary.words import FarEnd
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Trace
from worker.judgement.history.events import TraceEvent
from worker.judgement.numbers.exact import rounded_tenth_mdb
from worker.judgement.traces.echoes import reflects
from worker.judgement.words import REASON_LABELS
from worker.physics.constants import GLASS_REFRACTIVE_INDEX
from worker.physics.reflectance import flat_end_reflectance_db, reflected_share
from worker.physics.return_loss import ABSORBED, Link, link_return_loss_db

_MDB_PER_DB, _CDB_PER_DB, _E5 = 1000, 100, 100_000
_OPEN_SHARE = float(reflected_share(reflectance_db=flat_end_reflectance_db(refractive_index=GLASS_REFRACTIVE_INDEX)))


class EventAlong(NamedTuple):
    """An event and how far along the design's fibre it lies, from the end that the light came in at."""

    along_um: int
    event: TraceEvent


class ReturnedLight(NamedTuple):
    """The return loss lies between the bounds, or cannot be worked out for a reason."""

    reason: Reason | None
    low_tenth_mdb: int
    high_tenth_mdb: int
    detail: str


def returned_light(fibre: FibreMeasured, trace: Trace, *, far_end: FarEnd | None) -> ReturnedLight:
    """Return what a trace adds up to at its near end, over all of the fibre between its two ends.

    An open end takes the place of the far connection; any other sends nothing back but what that connection does.
    """
    length_um, lengths_um = _lengths_um(fibre, trace)
    events = _events_along(fibre, trace, length_um)
    inside = events
    if far_end is FarEnd.OPEN:
        end_um = length_um - fibre.aligned(trace).scale.tolerance_um
        inside = [one for one in events if one.along_um < end_um]
    coefficients = _coefficients(trace, lengths_um, events)
    reason = _end_fault(fibre, trace, far_end) or _event_fault(inside) or _glass_fault(coefficients)
    if reason is not None:
        return ReturnedLight(reason, 0, 0, REASON_LABELS[reason])
    sections = [(length_um, one) for length_um, one in zip(lengths_um, coefficients, strict=True) if one is not None]
    bounds = [_reflectance_bounds(one.event) for one in inside]
    index_e5 = fibre.aligned(trace).scale.index.used_e5
    least = _return_loss(trace, index_e5, sections, inside, [most for _, most in bounds], far_end)
    most = (
        least
        if all(low == high for low, high in bounds)
        else _return_loss(trace, index_e5, sections, inside, [low for low, _ in bounds], far_end)
    )
    return ReturnedLight(None, least, most, _detail(length_um, bounds, far_end))


def _lengths_um(fibre: FibreMeasured, trace: Trace) -> tuple[int, Sequence[int]]:
    """Return the design's fibre between a trace's ends, in all and by section as its light goes."""
    own = fibre.layout.section_lengths_um[trace.low_index : trace.high_index]
    return sum(own), own if trace.is_forward else own[::-1]


def _detail(length_um: int, bounds: Sequence[tuple[int | None, int | None]], far_end: FarEnd | None) -> str:
    count = sum(most is not None for _, most in bounds)
    reflections = "1 reflection" if count == 1 else f"{count} reflections"
    far = "open" if far_end is FarEnd.OPEN else "sending nothing back"
    return f"worked out from {reflections} and {metres_text(length_um)} m of fibre, the far end {far}"


def _events_along(fibre: FibreMeasured, trace: Trace, length_um: int) -> list[EventAlong]:
    scale = fibre.aligned(trace).scale
    first_um, last_um = scale.start_um - scale.tolerance_um, scale.end_um + scale.tolerance_um
    return [
        EventAlong(min(max(scale.along_um(event.at_um), 0), length_um), event)
        for event in scale.events
        if first_um <= event.at_um <= last_um
    ]


def _coefficients(trace: Trace, lengths_um: Sequence[int], events: Sequence[EventAlong]) -> list[int | None]:
    """Return what the next event that says so states of the fibre before it, for the middle of each section."""
    stated = [one for one in events if one.event.mdb_per_km is not None]
    if trace.receive is None:
        stated += [EventAlong(sum(lengths_um), end) for end in trace.ends_shown[:1] if end.mdb_per_km is not None]
    coefficients: list[int | None] = []
    reached_um = 0
    for length_um in lengths_um:
        middle_um = reached_um + length_um // 2
        behind = (one.event.mdb_per_km for one in stated if one.along_um > middle_um)
        coefficients.append(next(behind, None))
        reached_um += length_um
    return coefficients


def _end_fault(fibre: FibreMeasured, trace: Trace, far_end: FarEnd | None) -> Reason | None:
    """Return why an end connection was not measured; an open far end has none."""
    readings, (near, far) = fibre.aligned(trace).readings, trace.ends
    if trace.launch is None or (trace.receive is None and far_end is not FarEnd.OPEN):
        return Reason.NO_CORD
    ends = (near,) if far_end is FarEnd.OPEN else (near, far)
    return next((shown for end in ends if isinstance(shown := readings.get(end), Reason)), None)


def _event_fault(events: Sequence[EventAlong]) -> Reason | None:
    if any(one.event.loss_mdb is None for one in events):
        return Reason.LOSS_NOT_STATED
    reflecting = (one.event for one in events if reflects(one.event))
    return None if all(event.reflectance_mdb is not None for event in reflecting) else Reason.REFLECTANCE_NOT_STATED


def _glass_fault(coefficients: Sequence[int | None]) -> Reason | None:
    if None in coefficients:
        return Reason.COEFFICIENT_NOT_STATED
    return Reason.BELOW_FIBRE_ALONE if any(one < 0 for one in coefficients if one is not None) else None


def _reflectance_bounds(event: TraceEvent) -> tuple[int | None, int | None]:
    """Return the least and the most that an event may reflect, in 0.001 dB; none where nothing comes back."""
    reflectance_mdb = event.reflectance_mdb
    if reflectance_mdb is None:
        return None, None
    if event.qualifier is Qualifier.GT or event.kind is EventKind.SATURATED:
        return reflectance_mdb, 0
    return (None if event.qualifier is Qualifier.LT else reflectance_mdb), reflectance_mdb


def _return_loss(
    trace: Trace,
    index_e5: int,
    sections: Sequence[tuple[int, int]],
    events: Sequence[EventAlong],
    reflectances_mdb: Sequence[int | None],
    far_end: FarEnd | None,
) -> int:
    """Return the return loss of sections, each with its length and loss per kilometre, and of the events in them."""
    reflecting = [
        (one.along_um, reflectance_mdb)
        for one, reflectance_mdb in zip(events, reflectances_mdb, strict=True)
        if reflectance_mdb is not None
    ]
    link = Link(
        section_lengths_km=[length_um / UM_PER_KM for length_um, _ in sections],
        attenuations_db_per_km=[mdb_per_km / _MDB_PER_DB for _, mdb_per_km in sections],
        backscatter_coefficients_db=[trace.backscatter_cdb / _CDB_PER_DB] * len(sections),
        group_indices=[index_e5 / _E5] * len(sections),
        loss_distances_km=[one.along_um / UM_PER_KM for one in events],
        losses_db=[one.event.loss_mdb / _MDB_PER_DB for one in events if one.event.loss_mdb is not None],
        reflection_distances_km=[along_um / UM_PER_KM for along_um, _ in reflecting],
        reflectances_db=[mdb / _MDB_PER_DB for _, mdb in reflecting],
    )
    share = _OPEN_SHARE if far_end is FarEnd.OPEN else ABSORBED
    return rounded_tenth_mdb(float(link_return_loss_db(link=link, far_end_share=share)))
