"""Writing what traces tell beside the findings: events on no joint, echoes, breaks, joints off their spot."""

from collections.abc import Iterator, Sequence

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import (
    BreakDocument,
    EchoDocument,
    OffSpotDocument,
    ShortTraceDocument,
    TracesDocument,
    UnexpectedEventDocument,
    UnlikeTraceDocument,
)
from service.vocabulary.quantities import metres_text
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import metres_to_um
from worker.judgement.traces.alignment import Laying
from worker.judgement.traces.breaks import Breaks
from worker.judgement.traces.location import write_where
from worker.judgement.words import DIRECTION

_Spotted = UnexpectedEventDocument | EchoDocument | ShortTraceDocument


def write_strays(layout: Layout, laying: Laying, traces: Sequence[Trace]) -> list[UnexpectedEventDocument]:
    """Write down the events on no joint, in order from A."""
    return sorted((event for trace in traces for event in _strays(layout, laying, trace)), key=_from_a)


def write_traces(layout: Layout, laying: Laying, traces: Sequence[Trace]) -> TracesDocument:
    """Write down all else, as far as there is any of it."""
    document: TracesDocument = {}
    if echoes := [echo for trace in traces for echo in _echoes(layout, laying, trace)]:
        document["echoes"] = sorted(echoes, key=_from_a)
    breaks = laying.breaks()
    if breaks.found:
        document["breaks"] = _breaks(layout, breaks)
    if breaks.alone:
        document["short_traces"] = sorted(_short_traces(layout, breaks), key=_from_a)
    if off_spot := list(_off_spot(layout, laying)):
        document["off_spot"] = off_spot
    if unlike := [one for trace in traces for one in _unlike(laying, trace)]:
        document["unlike_traces"] = unlike
    return document


def _from_a(event: _Spotted) -> tuple[int, int, str, str]:
    return metres_to_um(event["from_a_m"]), event["wavelength_nm"], event["direction"], event["record"]


def _strays(layout: Layout, laying: Laying, trace: Trace) -> Iterator[UnexpectedEventDocument]:
    for at_um, event in laying.placed(trace).strays:
        where = write_where(layout, from_a_um=laying.from_a_um(trace, at_um))
        document: UnexpectedEventDocument = {
            "from_a_m": where["from_a_m"],
            "record": trace.stamp.id,
            "direction": DIRECTION[trace.is_forward],
            "wavelength_nm": trace.wavelength_nm,
        }
        if "section" in where:
            document["section"], document["cable_m"] = where["section"], where["cable_m"]
        if "loss_db" in event:
            document["loss_db"] = event["loss_db"]
        yield document


def _echoes(layout: Layout, laying: Laying, trace: Trace) -> Iterator[EchoDocument]:
    for (at_um, event), met_m in laying.echoes(trace):
        yield {
            **write_where(layout, from_a_um=laying.from_a_um(trace, at_um)),
            "record": trace.stamp.id,
            "direction": DIRECTION[trace.is_forward],
            "wavelength_nm": trace.wavelength_nm,
            "distance_m": event["distance_m"],
            "met_m": list(met_m),
        }


def _breaks(layout: Layout, breaks: Breaks) -> list[BreakDocument]:
    return [{**write_where(layout, from_a_um=one.from_a_um), "records": list(one.records)} for one in breaks.found]


def _short_traces(layout: Layout, breaks: Breaks) -> Iterator[ShortTraceDocument]:
    for one in breaks.alone:
        yield {
            **write_where(layout, from_a_um=one.from_a_um),
            "record": one.trace.stamp.id,
            "direction": DIRECTION[one.trace.is_forward],
            "wavelength_nm": one.trace.wavelength_nm,
        }


def _off_spot(layout: Layout, laying: Laying) -> Iterator[OffSpotDocument]:
    for site_index, spot in sorted(laying.agreed_spots().items()):
        yield {
            **write_where(layout, from_a_um=spot.from_a_um),
            "site": layout.design.sites[site_index].id,
            "designed_m": metres_text(layout.site_offsets_um[site_index]),
            "records": list(spot.records),
        }


def _unlike(laying: Laying, trace: Trace) -> Iterator[UnlikeTraceDocument]:
    unlike = laying.unlike(trace)
    if unlike is None:
        return
    document: UnlikeTraceDocument = {
        "record": trace.stamp.id,
        "direction": DIRECTION[trace.is_forward],
        "wavelength_nm": trace.wavelength_nm,
        "reason": unlike.reason.value,
    }
    if unlike.fibres:
        document["fibres"] = [{"first": fibres.first, "last": fibres.last} for fibres in unlike.fibres]
    yield document
