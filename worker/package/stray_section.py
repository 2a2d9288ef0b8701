"""Losses that the traces show where the design has no joint: no criterion judges them, so nobody may miss them."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.vocabulary.finding import UnexpectedEventDocument
from service.vocabulary.layout import UM_PER_M, Layout
from worker.package.content import PackageContent
from worker.package.pieces import Column, Kind, Look, Paragraph, Section, Table, listing
from worker.package.wording import DIRECTIONS, UNKNOWN

STRAYS_TITLE = "Losses on no joint"

_NOTE = Paragraph(
    text="A trace that counts shows a loss here where the design has no joint: a bend, damage, or a joint that nobody "
    "described. No criterion judges it; the engineer weighs it. One spot seen in several traces is listed once for "
    "each. All losses on the fibres submitted are listed, along the whole route; distances are along the fibre.",
    look=Look.NOTE,
)


@dataclass(frozen=True, kw_only=True)
class Stray:
    """A loss on no joint, as one trace shows it."""

    fibre: int
    event: UnexpectedEventDocument


def submitted_strays(content: PackageContent) -> Sequence[Stray]:
    """Return the losses on no joint of every fibre that a segment submitted has in scope."""
    strayed = [fibre for fibre in content.fibres if fibre["unexpected_events"]]
    if not strayed:
        return ()
    scope = Layout(content.design).segments_of_fibre
    return [
        Stray(fibre=fibre["fibre"], event=event)
        for fibre in strayed
        if not set(content.segments).isdisjoint(scope.get(fibre["fibre"], ()))
        for event in fibre["unexpected_events"]
    ]


def strays_section(content: PackageContent, strays: Sequence[Stray]) -> Section:
    """Return the losses on no joint, each between the sites that it lies between."""
    table = Table(columns=_COLUMNS, rows=tuple(_rows(content, strays)), is_grouped=True)
    return listing(title=STRAYS_TITLE, table=table, note=_NOTE)


_COLUMNS = (
    Column(heading="Fibre", share=28, kind=Kind.NUMBER),
    Column(heading="From A", unit="m", share=56, kind=Kind.NUMBER),
    Column(heading="Lies", share=90),
    Column(heading="Direction", share=44),
    Column(heading="Wavelength", unit="nm", share=48, kind=Kind.NUMBER),
    Column(heading="Loss", unit="dB", share=40, kind=Kind.NUMBER),
    Column(heading="Record", share=160),
)


def _rows(content: PackageContent, strays: Sequence[Stray]) -> Iterator[tuple[str, ...]]:
    layout = Layout(content.design)
    for stray in strays:
        event = stray.event
        yield (
            str(stray.fibre),
            event["from_a_m"],
            _lies_text(layout, from_a_m=Decimal(event["from_a_m"])),
            DIRECTIONS[event["direction"]],
            str(event["wavelength_nm"]),
            event.get("loss_db", UNKNOWN),
            event["record"],
        )


def _lies_text(layout: Layout, *, from_a_m: Decimal) -> str:
    sites = layout.design.sites
    behind = bisect_right(layout.site_offsets_um, from_a_m * UM_PER_M)
    if behind == 0:
        return f"before {sites[0].id}"
    if behind == len(sites):
        return f"beyond {sites[-1].id}"
    return f"{sites[behind - 1].id} to {sites[behind].id}"
