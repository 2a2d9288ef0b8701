"""Writing what traces tell beside the findings: events on no joint, echoes, breaks, traces of another fibre."""

from collections.abc import Iterable, Iterator
from typing import cast

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import (
    EchoDocument,
    ShortTraceDocument,
    TracesDocument,
    UnexpectedEventDocument,
    UnlikeTraceDocument,
    WhereDocument,
)
from service.vocabulary.quantities import metres_text
from worker.judgement.numbers.exact import mdb_text, metres_to_um
from worker.judgement.traces.aligned_trace import AlignedTrace
from worker.judgement.traces.doubts.breaks import Breaks
from worker.judgement.traces.readings import FibreTraces, UnexpectedEvent
from worker.judgement.traces.spots import locate
from worker.judgement.words import DIRECTION


def write_unexpected(layout: Layout, events: Iterable[UnexpectedEvent]) -> Iterator[UnexpectedEventDocument]:
    """Write down the events on no joint."""
    for event in events:
        where = _where(layout, from_a_um=event.from_a_um)
        document: UnexpectedEventDocument = {
            "from_a_m": where["from_a_m"],
            "record": event.record,
            "direction": DIRECTION[event.side.is_forward],
            "wavelength_nm": event.side.wavelength_nm,
        }
        if "section" in where:
            document["section"], document["cable_m"] = where["section"], where["cable_m"]
        if event.loss_mdb is not None:
            document["loss_db"] = mdb_text(event.loss_mdb)
        yield document


def write_traces(layout: Layout, traces: FibreTraces) -> TracesDocument:
    """Write down all else, as far as there is any of it."""
    valid, breaks = [traces.alignment.of(trace) for trace in traces.valid], traces.alignment.breaks
    written: TracesDocument = {
        "echoes": sorted((echo for aligned in valid for echo in _echoes(layout, aligned)), key=_from_a),
        "breaks": [{**_where(layout, from_a_um=one.from_a_um), "records": list(one.records)} for one in breaks.found],
        "short_traces": sorted(_short_traces(layout, breaks), key=_from_a),
        "unlike_traces": [one for aligned in valid for one in _unlike(aligned)],
    }
    return cast("TracesDocument", {name: own for name, own in written.items() if own})


def _from_a(event: EchoDocument | ShortTraceDocument) -> tuple[int, int, str, str]:
    return metres_to_um(event["from_a_m"]), event["wavelength_nm"], event["direction"], event["record"]


def _echoes(layout: Layout, aligned: AlignedTrace) -> Iterator[EchoDocument]:
    for echo in aligned.echoes:
        yield {
            **_where(layout, from_a_um=aligned.scale.from_a_um(echo.event.at_um)),
            "record": aligned.trace.stamp.id,
            "direction": DIRECTION[aligned.trace.is_forward],
            "wavelength_nm": aligned.trace.wavelength_nm,
            "distance_m": metres_text(echo.event.at_um),
            "met_m": [metres_text(at_um) for at_um in echo.met_um],
        }


def _short_traces(layout: Layout, breaks: Breaks) -> Iterator[ShortTraceDocument]:
    for one in breaks.alone:
        yield {
            **_where(layout, from_a_um=one.from_a_um),
            "record": one.trace.stamp.id,
            "direction": DIRECTION[one.trace.is_forward],
            "wavelength_nm": one.trace.wavelength_nm,
        }


def _unlike(aligned: AlignedTrace) -> Iterator[UnlikeTraceDocument]:
    unlike = aligned.unlike
    if unlike is None:
        return
    document: UnlikeTraceDocument = {
        "record": aligned.trace.stamp.id,
        "direction": DIRECTION[aligned.trace.is_forward],
        "wavelength_nm": aligned.trace.wavelength_nm,
        "reason": unlike.reason.value,
    }
    if unlike.fibres:
        document["fibres"] = [{"first": fibres.first, "last": fibres.last} for fibres in unlike.fibres]
    yield document


def _where(layout: Layout, *, from_a_um: int) -> WhereDocument:
    found = locate(layout, from_a_um=from_a_um)
    document: WhereDocument = {"from_a_m": metres_text(from_a_um)}
    if found is not None:
        document["section"] = found.section
        document["cable_m"] = metres_text(found.cable_um)
    return document
