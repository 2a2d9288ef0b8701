"""The route as designed, in words: the segments submitted, the sites, and the cable between them."""

from collections.abc import Sequence
from itertools import pairwise
from operator import attrgetter
from typing import NamedTuple

from service.vocabulary.design.billing_quantities import SegmentQuantities, quantities_of
from service.vocabulary.design.design import Design, FibreRange, Segment, Site
from service.vocabulary.design.design import Section as CableSection
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import Splicing
from service.vocabulary.quantities import metres_text
from worker.package.data.content import PackageContent
from worker.package.document_model import Section, Subheading
from worker.package.phrases import UNKNOWN, numbers_text, range_text, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.values import ranges_text, texts_of


def route_section(content: PackageContent) -> Section:
    """Return the segments submitted, and the sites and sections of the route as designed."""
    layout, design = Layout(content.design), content.design
    segments = [
        _Billed(segment, quantities_of(layout, segment, dark=content.tolerated_dark))
        for segment in design.segments
        if segment.id in content.segments
    ]
    sites = [
        _Placed(site, layout.segment_of_site[site.id], metres_text(offset_um), _by_ribbons(design, site))
        for site, offset_um in zip(design.sites, layout.site_offsets_um, strict=True)
    ]
    owners = {section: segment.id for segment in design.segments for section in segment.sections}
    cables = [
        _Cable(one, owners.get(one.id, UNKNOWN), *ends, taken)
        for one, ends, taken in zip(design.sections, pairwise(design.sites), layout.cable_ranges, strict=True)
    ]
    return Section(
        title="Segments and sites",
        blocks=(
            Subheading(text="Segments submitted, with the quantities that billing is told"),
            table_of(_SEGMENT_COLUMNS, segments),
            Subheading(text=f"Sites in order from A, design revision {content.design_revision}"),
            table_of(_SITE_COLUMNS, sites),
            Subheading(text="Cable between them"),
            table_of(_CABLE_COLUMNS, cables),
        ),
    )


def _trays_text(site: Site) -> str:
    """Return a site's trays, those of one capacity together."""
    by_capacity: dict[int, list[int]] = {}
    for tray in sorted(site.trays, key=attrgetter("number")):
        by_capacity.setdefault(tray.capacity, []).append(tray.number)
    return "; ".join(f"{numbers_text(own)} of {capacity}" for capacity, own in by_capacity.items()) or UNKNOWN


def _by_ribbons(design: Design, site: Site) -> Sequence[FibreRange]:
    plan = design.splice_plan
    return [entry.fibres for entry in plan if entry.site == site.id and entry.splicing is Splicing.RIBBON]


def _kind_text(placed: "_Placed") -> str:
    """Return what kind of site it is, and what is said of the splices in it."""
    texts = [words(placed.site.kind)]
    if placed.site.pigtail_fibre_type is not None:
        texts.append(f"pigtails of {placed.site.pigtail_fibre_type}")
    if placed.by_ribbons:
        texts.append(f"by ribbons: {ranges_text(placed.by_ribbons)}")
    return ", ".join(texts)


class _Billed(NamedTuple):
    segment: Segment
    quantities: SegmentQuantities


class _Placed(NamedTuple):
    site: Site
    segment: str
    from_a_m: str
    by_ribbons: Sequence[FibreRange]


class _Cable(NamedTuple):
    section: CableSection
    segment: str
    start: Site
    end: Site
    taken: Sequence[tuple[int, int]]


def _fibres_text(cable: _Cable) -> str:
    taken = ", ".join(range_text(first=first, last=last) for first, last in cable.taken)
    return taken if cable.section.fibre_count is None else f"{taken} of {cable.section.fibre_count}"


_SEGMENT_COLUMNS: tuple[Shown[_Billed], ...] = (
    text_column("Segment", 66, lambda one: one.segment.id),
    text_column("Name", 150, lambda one: one.segment.name),
    text_column("Billing item", 60, lambda one: one.segment.billing_item),
    number_column("Fibres", 44, lambda one: str(one.quantities.fibres)),
    number_column("Cable", 56, lambda one: one.quantities.cable_length_m, unit="m"),
    number_column("Fibre", 64, lambda one: one.quantities.fibre_length_m, unit="m"),
    number_column("Splices", 50, lambda one: str(one.quantities.splices)),
    number_column("Terminations", 66, lambda one: str(one.quantities.terminations)),
)
_SITE_COLUMNS: tuple[Shown[_Placed], ...] = (
    text_column("Site", 80, lambda one: one.site.id),
    text_column("Name", 170, lambda one: one.site.name),
    text_column("Kind", 70, _kind_text),
    text_column("Segment", 80, lambda one: one.segment),
    text_column("Trays, each with its splices", 90, lambda one: _trays_text(one.site)),
    number_column("Fibre from A", 60, lambda one: one.from_a_m, unit="m"),
)
_CABLE_COLUMNS: tuple[Shown[_Cable], ...] = (
    text_column("Section", 80, lambda one: one.section.id),
    text_column("From", 70, lambda one: one.start.id),
    text_column("To", 70, lambda one: one.end.id),
    text_column("Segment", 66, lambda one: one.segment),
    text_column("Cable fibres", 70, _fibres_text),
    text_column("Fibre type", 70, lambda one: one.section.fibre_type),
    text_column("Reel", 60, lambda one: one.section.reel or UNKNOWN),
    number_column("Cable", 55, lambda one: texts_of(one.section)["cable_length_m"], unit="m"),
    number_column("Slack", 45, lambda one: texts_of(one.section)["slack_m"], unit="m"),
    number_column("Excess", 40, lambda one: texts_of(one.section)["excess_percent"], unit="%"),
)
