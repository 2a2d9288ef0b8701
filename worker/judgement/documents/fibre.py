"""Write what was judged of one fibre: its findings, its work, and all that stands beside them."""

from collections.abc import Iterable

import orjson

from service.vocabulary.canonical import canonical_json
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import (
    FIBRE_FORM,
    AskedTestDocument,
    CauseDocument,
    FibreDocument,
    WorkDocument,
)
from worker.judgement.documents.findings import finding_texts
from worker.judgement.documents.traces import write_traces, write_unexpected
from worker.judgement.fibre.findings import Finding, PlainFindings
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.work.items import AskedTest, Cause, WorkItem


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


def fibre_text(document: FibreDocument, found: Iterable[Finding | PlainFindings]) -> bytes:
    """Return a fibre's document with its findings as canonical JSON."""
    return canonical_json({**document, "findings": orjson.Fragment(finding_texts(found))})


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


def write_work(item: WorkItem) -> WorkDocument:
    """Write one thing that has to be done: of fibres that are alike the same."""
    document: WorkDocument = {
        "act": item.act.value,
        "sites": list(item.sites),
        "is_urgent": item.is_urgent,
        "is_ready": item.is_ready,
        "opens": item.opens,
        "causes": [_cause(cause) for cause in item.causes],
    }
    if item.position is not None:
        document["position"] = item.position
    if item.tests:
        document["tests"] = _asked(item.tests)
    return document


def _cause(cause: Cause) -> CauseDocument:
    document: CauseDocument = {
        "clause": cause.clause,
        "criteria": list(cause.criteria),
        "records": list(dict.fromkeys(cause.records)),
    }
    if cause.value is not None:
        document["value"] = cause.value
    return document


def _asked(tests: Iterable[AskedTest]) -> list[AskedTestDocument]:
    """Write tests, those of several wavelengths from the same ends as one."""
    from_sites: dict[tuple[str, int | None], list[str]] = {}
    for test, nm, site in tests:
        from_sites.setdefault((test, nm), []).append(site)
    alike: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for (named, nm), sites in from_sites.items():
        alike.setdefault((named, tuple(sites)), []).extend([] if nm is None else [nm])
    return [
        {"test": named, "wavelengths_nm": sorted(wavelengths), "from_sites": list(sites)}
        for (named, sites), wavelengths in alike.items()
    ]
