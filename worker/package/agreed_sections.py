"""What was agreed before measuring, in words: segments, sites, cable, and the criteria with their clauses."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from service.vocabulary.finding import FindingDocument
from service.vocabulary.layout import Layout
from service.vocabulary.paid import quantities_of
from service.vocabulary.words import Outcome, Quantity
from worker.package.content import PackageContent
from worker.package.pieces import Column, Fact, Facts, Kind, Section, Subheading, Table
from worker.package.wording import UNKNOWN, metres_text, words


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


def criteria_section(content: PackageContent, findings: Sequence[FindingDocument]) -> Section:
    """Return the criteria as agreed, and how many findings came out each way under each."""
    criteria = content.criteria.model_dump(exclude_none=True)
    return Section(
        title="Criteria as agreed",
        blocks=(
            _agreement(content, criteria),
            Table(columns=_CRITERION_COLUMNS, rows=tuple(_criterion_row(entry) for entry in criteria["criteria"])),
            Subheading(text="Findings by criterion, segments submitted"),
            Table(columns=_COUNT_COLUMNS, rows=tuple(_count_rows(content, findings))),
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
_CRITERION_COLUMNS = (
    Column(heading="Code", share=72),
    Column(heading="What is held", share=92),
    Column(heading="Wavelength", unit="nm", share=48, kind=Kind.NUMBER),
    Column(heading="Limit", share=160),
    Column(heading="Force", share=44),
    Column(heading="Clause", share=92),
)
_COUNT_COLUMNS = (
    Column(heading="Code", share=120),
    Column(heading="Conforming", share=60, kind=Kind.NUMBER),
    Column(heading="Nonconforming", share=70, kind=Kind.NUMBER),
    Column(heading="Undetermined", share=70, kind=Kind.NUMBER),
)


def _segment_rows(content: PackageContent) -> Iterator[tuple[str, ...]]:
    layout = Layout(content.design)
    for segment in content.design.segments:
        if segment.id in content.segments:
            paid = quantities_of(layout, segment)
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
        yield site.id, site.name, words(site.kind), segment, metres_text(length_um=offset_um)


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


def _agreement(content: PackageContent, criteria: dict[str, Any]) -> Facts:
    placing = criteria["placing"]
    counts_after_sealing = "after the closure was last sealed" if criteria["final_after_sealing"] else "at any time"
    return Facts(
        facts=(
            Fact(label="Title", value=content.criteria.title),
            Fact(label="Version", value=str(content.criteria_version)),
            Fact(label="Document", value=content.criteria.document or UNKNOWN),
            Fact(label="Tests count", value=counts_after_sealing),
            Fact(label="Rework voids", value=f"the tests of the {words(criteria['rework_voids'])}"),
            Fact(
                label="Placing",
                value=f"an event belongs to a joint within {placing['tolerance_m']} m and "
                f"{placing['tolerance_percent']} % of the distance; scale within {placing['scale_percent']} %",
            ),
        )
    )


def _criterion_row(entry: dict[str, Any]) -> tuple[str, ...]:
    return (
        entry["code"],
        words(entry["quantity"]),
        str(entry["wavelength_nm"]),
        _limit_text(entry),
        words(entry["force"]),
        entry.get("clause", UNKNOWN),
    )


def _limit_text(entry: dict[str, Any]) -> str:
    match entry["quantity"]:
        case Quantity.REQUIRED_TEST:
            return f"{words(entry['test'])} in both directions"
        case Quantity.LINK_ATTENUATION:
            return f"{entry['combination']} of both directions at most {_link_limit_text(entry['limit'])}"
        case _:
            return f"mean of both directions at most {entry['limit_db']} dB{_action_limits_text(entry)}"


def _link_limit_text(limit: dict[str, Any]) -> str:
    if limit["kind"] == "fixed":
        return f"{limit['limit_db']} dB"
    return (
        f"the budget: {limit['attenuation_db_per_km']} dB/km of fibre, {limit['splice_db']} dB a splice, "
        f"{limit['connection_db']} dB a connection, {limit['other_db']} dB other"
    )


def _action_limits_text(entry: dict[str, Any]) -> str:
    named = (("estimate_action_limit_db", "estimate"), ("one_way_action_limit_db", "one way"))
    texts = [f"{name} {entry[member]} dB" for member, name in named if member in entry]
    return f"; while the closure is open: {', '.join(texts)}" if texts else ""


def _count_rows(content: PackageContent, findings: Sequence[FindingDocument]) -> Iterator[tuple[str, ...]]:
    counts = Counter((finding["criterion"], finding["outcome"]) for finding in findings)
    for criterion in content.criteria.criteria:
        yield criterion.code, *(str(counts[criterion.code, outcome.value]) for outcome in Outcome)
