"""The criteria as agreed before measuring, in words: every setting that decides an outcome is printed."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.signature_level import SignatureLevel
from service.vocabulary.words import DecisionRule, Outcome, Quantity
from worker.package.content import PackageContent
from worker.package.joint_criterion_text import joint_criterion_text
from worker.package.link_criterion_text import link_criterion_text, workmanship_text
from worker.package.pieces import Column, Fact, Facts, Kind, Look, Paragraph, Section, Subheading, Table
from worker.package.wording import UNKNOWN, words

_HOUSE_RULES = Paragraph(
    text="A value equal to its limit conforms. A value known only within bounds conforms when its upper bound does, "
    "and does not conform when its lower bound is over the limit. A splice behind a connector, which no trace shows "
    "apart, conforms when both together keep the splice's limit; otherwise the limit for the termination decides.",
    look=Look.NOTE,
)


def criteria_section(content: PackageContent, findings: Sequence[FindingDocument]) -> Section:
    """Return the criteria as agreed, and how many findings came out each way under each."""
    criteria = content.criteria.model_dump(exclude_none=True)
    return Section(
        title="Criteria as agreed",
        blocks=(
            _agreement(content, criteria),
            Table(columns=_CRITERION_COLUMNS, rows=tuple(_criterion_row(entry) for entry in criteria["criteria"])),
            _HOUSE_RULES,
            Subheading(text="Findings by criterion, segments submitted"),
            Table(columns=_COUNT_COLUMNS, rows=tuple(_count_rows(content, findings))),
        ),
    )


_OF_LINKS = frozenset(
    {
        Quantity.REQUIRED_TEST,
        Quantity.LINK_ATTENUATION,
        Quantity.ATTENUATION_COEFFICIENT,
        Quantity.RETURN_LOSS,
        Quantity.LENGTH,
        Quantity.CONTINUITY,
        Quantity.CHROMATIC_DISPERSION,
        Quantity.POLARIZATION_MODE_DISPERSION,
    }
)
_RULES = {DecisionRule.GUARDED: "guarded", DecisionRule.FOUR_WAY: "by the four-way rule"}
_CRITERION_COLUMNS = (
    Column(heading="Code", share=80),
    Column(heading="What is held", share=66),
    Column(heading="Wavelength", unit="nm", share=48, kind=Kind.NUMBER),
    Column(heading="Limit", share=200),
    Column(heading="Force", share=44),
    Column(heading="Clause", share=60),
)
_COUNT_COLUMNS = (
    Column(heading="Code", share=120),
    Column(heading="Conforming", share=60, kind=Kind.NUMBER),
    Column(heading="Nonconforming", share=70, kind=Kind.NUMBER),
    Column(heading="Undetermined", share=70, kind=Kind.NUMBER),
)


def _agreement(content: PackageContent, criteria: dict[str, Any]) -> Facts:
    placing = criteria["placing"]
    reworked = {"fibre": "that fibre", "closure": "every fibre that runs through that closure"}
    return Facts(
        facts=(
            Fact(label="Title", value=content.criteria.title),
            Fact(label="Version", value=str(content.criteria_version)),
            Fact(label="Document", value=content.criteria.document or UNKNOWN),
            Fact(
                label="Tests count",
                value="when made after the closure was last sealed"
                if criteria["final_after_sealing"]
                else "whether or not the closure was sealed before them",
            ),
            Fact(label="Rework voids", value=f"the earlier tests of {reworked[criteria['rework_voids']]}"),
            Fact(
                label="Placing",
                value=f"an event belongs to a joint no further away than {placing['tolerance_m']} m or "
                f"{placing['tolerance_percent']} % of the length tested, whichever is more",
            ),
            Fact(
                label="Scale",
                value="a trace may be longer or shorter than the design by "
                f"{placing['scale_percent']} % of the length tested",
            ),
            Fact(
                label="Off its spot",
                value="a joint that traces from both ends show at one spot may lie "
                f"{placing['off_spot_m']} m away, where no other can be meant",
            ),
            Fact(
                label="Dead zone",
                value=f"nothing is seen apart within {placing['dead_zone_pulses']} pulse lengths behind a reflection",
            ),
            Fact(label="Dark fibres", value=_dark_text(criteria["dark_fibres_tolerated"])),
            Fact(label="Acceptance", value=_acceptance_text(criteria.get("deemed_after_days"))),
            Fact(label="Signatures", value=_SIGNATURES[criteria.get("signature_level")]),
            Fact(label="Release", value=_RELEASES[criteria["release"]]),
            Fact(
                label="Below zero",
                value=f"a mean of both directions over {criteria['mean_below_zero_db']} dB below zero proves nothing",
            ),
        )
    )


_SIGNATURES = {
    None: "at the level that the service's settings allow",
    SignatureLevel.B_B: "at least PAdES B-B: without a proven time",
    SignatureLevel.B_T: "at least PAdES B-T: with a time that a time-stamp authority proves",
    SignatureLevel.B_LTA: "at least PAdES B-LTA: with a proven time, and all that is needed to check them after their "
    "certificates have run out",
}
_RELEASES = {
    "alone": "billing hears of each segment when it is accepted",
    "with_route": "billing hears of accepted segments once every segment of the route is accepted",
}


def _acceptance_text(days: int | None) -> str:
    if days is None:
        return "by the engineer's decision"
    return (
        f"by the engineer's decision; a package of which all conforms, with no concession asked, is deemed accepted "
        f"{days} days after its issue unless a decision or a notice of a defect comes before"
    )


def _dark_text(tolerated: int) -> str:
    if not tolerated:
        return "none is tolerated"
    return f"up to {tolerated} of the route may be dark and stay so, neither accepted nor paid"


def _criterion_row(entry: dict[str, Any]) -> tuple[str, ...]:
    return (
        entry["code"],
        words(entry["quantity"]),
        str(entry.get("wavelength_nm", UNKNOWN)),
        f"{_held_text(entry)}{_decision_text(entry)}{_where_text(entry)}",
        words(entry["force"]),
        entry.get("clause", UNKNOWN),
    )


def _held_text(entry: dict[str, Any]) -> str:
    if entry["quantity"] == Quantity.WORKMANSHIP:
        return workmanship_text(entry)
    return link_criterion_text(entry) if entry["quantity"] in _OF_LINKS else joint_criterion_text(entry)


def _decision_text(entry: dict[str, Any]) -> str:
    """Return the rule that takes uncertainty into account; where it is not the simple one it is an explicit choice."""
    band = entry.get("uncertainty_db") or entry.get("uncertainty_db_per_km")
    rule = entry.get("decision", DecisionRule.SIMPLE)
    # A link's uncertainty is told with what it is always used for.
    is_told = entry["quantity"] == Quantity.LINK_ATTENUATION
    if rule == DecisionRule.SIMPLE:
        return f"; uncertainty {band}, not taken into account" if band and not is_told else ""
    return f"; {_RULES[rule]} with a guard band of {band}"


def _where_text(entry: dict[str, Any]) -> str:
    applies = entry.get("applies_when")
    if applies is None:
        return ""
    texts = []
    if "least_span_m" in applies:
        texts.append(f"in spans of at least {applies['least_span_m']} m")
    if "most_span_m" in applies:
        texts.append(f"in spans of at most {applies['most_span_m']} m")
    if applies["fibre_types"]:
        texts.append(f"on fibre of type {' or '.join(applies['fibre_types'])}")
    return f"; {', '.join(texts)}"


def _count_rows(content: PackageContent, findings: Sequence[FindingDocument]) -> Iterator[tuple[str, ...]]:
    counts = Counter((finding["criterion"], finding["outcome"]) for finding in findings)
    for criterion in content.criteria.criteria:
        yield criterion.code, *(str(counts[criterion.code, outcome.value]) for outcome in Outcome)
