"""The criteria as agreed before measuring, in words: every setting that decides an outcome is printed."""

from collections import Counter
from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.criteria import AnyCriterion, Release, Voiding
from service.vocabulary.signatures import SignatureLevel
from service.vocabulary.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Column, Fact, Facts, Kind, Paragraph, Section, Subheading, Table
from worker.package.phrases import UNKNOWN, words
from worker.package.wording.criteria import decision_text, held_text, where_text
from worker.package.wording.values import texts_of

_HOUSE_RULES = (
    "A value equal to its limit conforms. A value known only within bounds conforms when its upper bound does, "
    "and does not conform when its lower bound is over the limit. A splice behind a connector, which no trace shows "
    "apart, conforms when both together keep the splice's limit; otherwise the limit for the termination decides."
)


def criteria_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return the criteria as agreed, and how many findings came out each way under each."""
    return Section(
        title="Criteria as agreed",
        blocks=(
            _agreement(content),
            Table(columns=_CRITERION_COLUMNS, rows=tuple(map(_criterion_row, content.criteria.criteria))),
            Paragraph(text=_HOUSE_RULES, is_note=True),
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


def _agreement(content: PackageContent) -> Facts:
    criteria = content.criteria
    stated, placing = texts_of(criteria), texts_of(criteria.placing)
    return Facts(
        facts=(
            Fact(label="Title", value=criteria.title),
            Fact(label="Version", value=str(content.criteria_version)),
            Fact(label="Document", value=criteria.document or UNKNOWN),
            Fact(
                label="Tests count",
                value="when made after the closure was last sealed"
                if criteria.final_after_sealing
                else "whether or not the closure was sealed before them",
            ),
            Fact(label="Rework voids", value=f"the earlier tests of {_REWORKED[criteria.rework_voids]}"),
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
            Fact(label="Dark fibres", value=_dark_text(criteria.dark_fibres_tolerated)),
            Fact(label="Acceptance", value=_acceptance_text(criteria.deemed_after_days)),
            Fact(label="Signatures", value=_SIGNATURES[criteria.signature_level]),
            Fact(label="Release", value=_RELEASES[criteria.release]),
            Fact(
                label="Below zero",
                value=f"a mean of both directions over {stated['mean_below_zero_db']} dB below zero proves nothing",
            ),
        )
    )


_REWORKED = {Voiding.FIBRE: "that fibre", Voiding.CLOSURE: "every fibre that runs through that closure"}
_SIGNATURES = {
    None: "at the level that the service's settings allow",
    SignatureLevel.B_B: "at least PAdES B-B: without a proven time",
    SignatureLevel.B_T: "at least PAdES B-T: with a time that a time-stamp authority proves",
    SignatureLevel.B_LTA: "at least PAdES B-LTA: with a proven time, and all that is needed to check them after their "
    "certificates have run out",
}
_RELEASES = {
    Release.ALONE: "billing hears of each segment when it is accepted",
    Release.WITH_ROUTE: "billing hears of accepted segments once every segment of the route is accepted",
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


def _criterion_row(criterion: AnyCriterion) -> tuple[str, ...]:
    return (
        criterion.code,
        words(criterion.quantity),
        texts_of(criterion).get("wavelength_nm", UNKNOWN),
        f"{held_text(criterion)}{decision_text(criterion)}{where_text(criterion)}",
        words(criterion.force),
        UNKNOWN if criterion.clause is None else criterion.clause,
    )


def _count_rows(content: PackageContent, findings: Sequence[Finding]) -> Iterator[tuple[str, ...]]:
    counts = Counter((finding.criterion, finding.outcome) for finding in findings)
    for criterion in content.criteria.criteria:
        yield criterion.code, *(str(counts[criterion.code, outcome]) for outcome in Outcome)
