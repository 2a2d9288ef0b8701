"""The criteria as agreed before measuring, in words: every setting that decides an outcome is printed."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from service.vocabulary.finding import FindingDocument
from service.vocabulary.words import Outcome, Quantity
from worker.package.content import PackageContent
from worker.package.pieces import Column, Fact, Facts, Kind, Look, Paragraph, Section, Subheading, Table
from worker.package.wording import UNKNOWN, count_text, words

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
                label="Below zero",
                value=f"a mean of both directions over {criteria['mean_below_zero_db']} dB below zero proves nothing",
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
            named = {"otdr": "an OTDR trace", "attenuation": "an attenuation test by source and meter"}
            return f"{named[entry['test']]} in both directions"
        case Quantity.LINK_ATTENUATION:
            combined = {"mean": "mean of both directions", "worse": "worse of both directions"}
            limit = _link_limit_text(entry["limit"])
            return f"{combined[entry['combination']]} at most {limit}; {_link_conditions_text(entry)}"
        case _:
            return f"mean of both directions at most {entry['limit_db']} dB{_action_limits_text(entry)}"


def _link_limit_text(limit: dict[str, Any]) -> str:
    if limit["kind"] == "fixed":
        return f"{limit['limit_db']} dB"
    return (
        f"the budget: {limit['attenuation_db_per_km']} dB/km of fibre, {limit['splice_db']} dB a splice, "
        f"{limit['connection_db']} dB a connection that the reference includes, {limit['other_db']} dB other"
    )


def _link_conditions_text(entry: dict[str, Any]) -> str:
    cords = entry.get("reference_cords")
    asked = "any number of cords, the same both ways" if cords is None else count_text(cords, one="cord", many="cords")
    return (
        f"referenced with {asked}; a loss below {entry['least_attenuation_db_per_km']} dB/km of fibre by more than "
        f"its uncertainty of {entry['uncertainty_db']} dB is set aside"
    )


def _action_limits_text(entry: dict[str, Any]) -> str:
    named = (("estimate_action_limit_db", "estimate"), ("one_way_action_limit_db", "one way"))
    texts = [f"{name} {entry[member]} dB" for member, name in named if member in entry]
    return f"; while the closure is open: {', '.join(texts)}" if texts else ""


def _count_rows(content: PackageContent, findings: Sequence[FindingDocument]) -> Iterator[tuple[str, ...]]:
    counts = Counter((finding["criterion"], finding["outcome"]) for finding in findings)
    for criterion in content.criteria.criteria:
        yield criterion.code, *(str(counts[criterion.code, outcome.value]) for outcome in Outcome)
