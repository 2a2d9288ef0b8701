"""Losses that the traces show where the design has no joint: whether a criterion judges them or not, all of them."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FibreDocument, UnexpectedEventDocument, WhereDocument
from service.vocabulary.quantities import UM_PER_M
from worker.package.data.content import PackageContent
from worker.package.document_model import Column, Kind, Role, Section, Table, listing
from worker.package.phrases import UNKNOWN, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.values import DIRECTIONS

UNEXPECTED_EVENTS_TITLE = "Losses on no joint"

_NOTE = (
    "A trace that counts shows a loss here where the design has no joint: a bend, damage, or a joint that nobody "
    "described. Where a criterion about such losses was agreed, its findings say what it came to; else the "
    "engineer weighs it. One spot seen in several traces is listed once for "
    "each. All losses on the fibres submitted are listed, along the whole route; distances from A are along the fibre, "
    "those in a section along its cable from its start, slack counted in."
)


@dataclass(frozen=True, kw_only=True)
class UnexpectedEvent:
    """A loss on no joint, as one trace shows it."""

    fibre: int
    event: UnexpectedEventDocument


def submitted_unexpected_events(content: PackageContent) -> Sequence[UnexpectedEvent]:
    """Return the losses on no joint of every fibre that a segment submitted has in scope."""
    return [
        UnexpectedEvent(fibre=fibre["fibre"], event=event)
        for fibre in _submitted(content)
        for event in fibre["unexpected_events"]
    ]


def unexpected_events_section(content: PackageContent, unexpected: Sequence[UnexpectedEvent]) -> Section:
    """Return the losses on no joint, each between the sites that it lies between, and what else traces tell."""
    layout = Layout(content.design)
    columns: tuple[Shown[UnexpectedEvent], ...] = (
        number_column("Fibre", 28, lambda one: str(one.fibre), role=Role.FIBRE_LINK),
        number_column("From A", 56, lambda one: one.event["from_a_m"], unit="m"),
        text_column("Lies", 74, lambda one: _lies_text(layout, from_a_m=Decimal(one.event["from_a_m"]))),
        text_column("Section", 50, lambda one: one.event.get("section", UNKNOWN)),
        number_column("From its start", 56, lambda one: one.event.get("cable_m", UNKNOWN), unit="m"),
        text_column("Direction", 44, lambda one: DIRECTIONS[one.event["direction"]]),
        number_column("Wavelength", 48, lambda one: str(one.event["wavelength_nm"]), unit="nm"),
        number_column("Loss", 40, lambda one: one.event.get("loss_db", UNKNOWN), unit="dB"),
        text_column("Record", 130, lambda one: one.event["record"]),
    )
    table = table_of(columns, unexpected, is_grouped=True)
    section = listing(title=UNEXPECTED_EVENTS_TITLE, blocks=[table], note=_NOTE)
    rows = tuple(row for fibre in _submitted(content) for row in _other_rows(fibre))
    return section.followed_by(_OTHERS_TITLE, Table(columns=_OTHERS_COLUMNS, rows=rows, is_grouped=True))


_OTHERS_TITLE = "Ends of fibre, and traces that fit something else"
_OTHERS_COLUMNS = (
    Column(heading="Fibre", share=28, kind=Kind.NUMBER, role=Role.FIBRE_LINK),
    Column(heading="What", share=150),
    Column(heading="From A", unit="m", share=56, kind=Kind.NUMBER),
    Column(heading="Section", share=50),
    Column(heading="From its start", unit="m", share=56, kind=Kind.NUMBER),
    Column(heading="Records", share=130),
)


def _submitted(content: PackageContent) -> Iterator[FibreDocument]:
    scope = content.fibres_in_scope
    return (one for one in content.fibres if one["fibre"] in scope)


def _other_rows(fibre: FibreDocument) -> Iterator[tuple[str, ...]]:
    number = str(fibre["fibre"])
    for broken in fibre.get("breaks", ()):
        yield number, "the fibre is broken", broken["from_a_m"], *_in_cable(broken), ", ".join(broken["records"])
    for short in fibre.get("short_traces", ()):
        what = f"{DIRECTIONS[short['direction']]} at {short['wavelength_nm']} nm reaches no farther"
        yield number, what, short["from_a_m"], *_in_cable(short), short["record"]
    for unlike in fibre.get("unlike_traces", ()):
        fibres = ", ".join(f"{own['first']} to {own['last']}" for own in unlike.get("fibres", ()))
        what = f"{words(unlike['reason'])}{f': {fibres}' if fibres else ''}"
        yield number, what, UNKNOWN, UNKNOWN, UNKNOWN, unlike["record"]


def _in_cable(where: WhereDocument) -> tuple[str, str]:
    return where.get("section", UNKNOWN), where.get("cable_m", UNKNOWN)


def _lies_text(layout: Layout, *, from_a_m: Decimal) -> str:
    sites = layout.design.sites
    behind = bisect_right(layout.site_offsets_um, from_a_m * UM_PER_M)
    if behind == 0:
        return f"before {sites[0].id}"
    if behind == len(sites):
        return f"beyond {sites[-1].id}"
    return f"{sites[behind - 1].id} to {sites[behind].id}"
