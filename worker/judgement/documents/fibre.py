"""Write what was judged of one fibre: its findings, its work, and all that stands beside them."""

from collections.abc import Iterable
from typing import cast

import orjson

from service.vocabulary.canonical import canonical_json
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FIBRE_FORM, FibreDocument, LocalFibreDocument, WorkDocument
from worker.judgement.documents.findings import finding_texts
from worker.judgement.documents.traces import write_traces, write_unexpected
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.work.items import WorkItem


def write_fibre(layout: Layout, tested: FibreMeasured, work: list[WorkDocument], *, is_dark: bool) -> FibreDocument:
    """Write everything judged about a fibre but its findings."""
    document: FibreDocument = {
        "form": FIBRE_FORM,
        "fibre": tested.number,
        "findings": [],
        "work": work,
        "unexpected_events": list(write_unexpected(layout, tested.unexpected)),
        **write_traces(layout, tested.traces),  # type: ignore[typeddict-item]
    }
    if is_dark:
        document["is_dark"] = True
    return document


def fibre_text(document: FibreDocument, findings: Iterable[Finding]) -> bytes:
    """Return a fibre's document with its findings as canonical JSON."""
    return canonical_json({**document, "findings": orjson.Fragment(finding_texts(findings))})


def write_nothing(fibre: int, *, problem: str | None = None) -> FibreDocument:
    """Write that nothing was judged about a fibre, and why if it should have been."""
    document: FibreDocument = {
        "form": FIBRE_FORM,
        "fibre": fibre,
        "findings": [],
        "work": [],
        "unexpected_events": [],
    }
    if problem is not None:
        document["problem"] = problem
    return document


def write_work(item: WorkItem, layout: Layout, *, fibre: int) -> WorkDocument:
    """Write one thing that has to be done, with what the crew sees of the fibre on both sides of the site."""
    because = "; ".join(dict.fromkeys(cause.clause for cause in item.causes))
    document: WorkDocument = {
        "act": item.act.value,
        "site": item.site,
        "site_index": layout.site_index[item.site],
        "fibre": fibre,
        "is_urgent": item.is_urgent,
        "because": f"{because[0].upper()}{because[1:]}.",
        "criteria": list(dict.fromkeys(code for cause in item.causes for code in cause.criteria)),
        "records": list(dict.fromkeys(record for cause in item.causes for record in cause.records)),
    }
    if item.position is not None:
        document["position"] = item.position
    tray = layout.tray(item.site, fibre)
    if tray is not None:
        document["tray"] = tray
    towards_a, towards_b = layout.local_fibres(fibre, item.site)
    if towards_a is not None:
        document["towards_a"] = cast(LocalFibreDocument, towards_a._asdict())
    if towards_b is not None:
        document["towards_b"] = cast(LocalFibreDocument, towards_b._asdict())
    return document
