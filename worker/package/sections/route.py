"""The route as designed, in words: the segments submitted, the sites, and the cable between them."""

from collections.abc import Iterator

from service.vocabulary.design.billing_quantities import quantities_of
from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import metres_text
from worker.package.data.content import PackageContent
from worker.package.document_model import Column, Kind, Section, Subheading, Table
from worker.package.phrases import UNKNOWN, words


def route_section(content: PackageContent) -> Section:
    """Return the segments submitted, and the sites and sections of the route as designed."""
    return Section(
        title="Segments and sites",
        blocks=(
            Subheading(text="Segments submitted, with the quantities that billing is told"),
            Table(columns=_SEGMENT_COLUMNS, rows=tuple(_segment_rows(content))),
            Subheading(text=f"Sites in order from A, design revision {content.design_revision}"),
            Table(columns=_SITE_COLUMNS, rows=tuple(_site_rows(content))),
            Subheading(text="Cable between them"),
            Table(columns=_CABLE_COLUMNS, rows=tuple(_cable_rows(content))),
        ),
    )


_SEGMENT_COLUMNS = (
    Column(heading="Segment", share=66),
    Column(heading="Name", share=150),
    Column(heading="Billing item", share=60),
    Column(heading="Fibres", share=44, kind=Kind.NUMBER),
    Column(heading="Cable", unit="m", share=56, kind=Kind.NUMBER),
    Column(heading="Fibre", unit="m", share=64, kind=Kind.NUMBER),
    Column(heading="Splices", share=50, kind=Kind.NUMBER),
    Column(heading="Terminations", share=66, kind=Kind.NUMBER),
)
_SITE_COLUMNS = (
    Column(heading="Site", share=80),
    Column(heading="Name", share=170),
    Column(heading="Kind", share=70),
    Column(heading="Segment", share=80),
    Column(heading="Fibre from A", unit="m", share=60, kind=Kind.NUMBER),
)
_CABLE_COLUMNS = (
    Column(heading="Section", share=80),
    Column(heading="From", share=70),
    Column(heading="To", share=70),
    Column(heading="Fibre type", share=70),
    Column(heading="Reel", share=60),
    Column(heading="Cable", unit="m", share=55, kind=Kind.NUMBER),
    Column(heading="Slack", unit="m", share=45, kind=Kind.NUMBER),
    Column(heading="Excess", unit="%", share=40, kind=Kind.NUMBER),
)


def _segment_rows(content: PackageContent) -> Iterator[tuple[str, ...]]:
    layout = Layout(content.design)
    for segment in content.design.segments:
        if segment.id in content.segments:
            paid = quantities_of(layout, segment, dark=content.tolerated_dark)
            yield (
                segment.id,
                segment.name,
                segment.billing_item,
                str(paid.fibres),
                paid.cable_length_m,
                paid.fibre_length_m,
                str(paid.splices),
                str(paid.terminations),
            )


def _site_rows(content: PackageContent) -> Iterator[tuple[str, ...]]:
    layout = Layout(content.design)
    for site, offset_um in zip(content.design.sites, layout.site_offsets_um, strict=True):
        segment = layout.segment_of_site[site.id]
        yield site.id, site.name, words(site.kind), segment, metres_text(offset_um)


def _cable_rows(content: PackageContent) -> Iterator[tuple[str, ...]]:
    sites = content.design.sites
    for index, section in enumerate(content.design.sections):
        text = section.model_dump()
        yield (
            section.id,
            sites[index].id,
            sites[index + 1].id,
            section.fibre_type,
            section.reel or UNKNOWN,
            text["cable_length_m"],
            text["slack_m"],
            text["excess_percent"],
        )
