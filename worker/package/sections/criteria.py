"""The criteria as agreed before measuring, in words: every setting that decides an outcome is printed."""

from collections import Counter
from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.criteria import AnyCriterion, Release, SegmentsProven
from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.findings.words import Outcome
from service.vocabulary.signatures import SignatureLevel
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Column, Fact, Facts, Kind, Paragraph, Section, Subheading, Table
from worker.package.phrases import UNKNOWN, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.criteria import decision_text, held_text
from worker.package.wording.values import texts_of
from worker.package.wording.where import where_text

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
            table_of(_CRITERION_COLUMNS, content.criteria.criteria),
            Paragraph(text=_HOUSE_RULES, is_note=True),
            Subheading(text="Findings by criterion, segments submitted"),
            Table(columns=_COUNT_COLUMNS, rows=tuple(_count_rows(content, findings))),
        ),
    )


_CRITERION_COLUMNS: tuple[Shown[AnyCriterion], ...] = (
    text_column("Code", 80, lambda one: one.code),
    text_column("What is held", 66, lambda one: words(one.quantity)),
    number_column("Wavelength", 48, lambda one: texts_of(one).get("wavelength_nm", UNKNOWN), unit="nm"),
    text_column("Limit", 200, lambda one: f"{held_text(one)}{decision_text(one)}{where_text(one)}"),
    text_column("Force", 44, lambda one: words(one.force)),
    text_column("Clause", 60, lambda one: one.clause or UNKNOWN),
)
_COUNT_COLUMNS = (
    Column(heading="Code", share=120),
    Column(heading="Conforming", share=60, kind=Kind.NUMBER),
    Column(heading="Nonconforming", share=70, kind=Kind.NUMBER),
    Column(heading="Undetermined", share=70, kind=Kind.NUMBER),
)


def _agreement(content: PackageContent) -> Facts:
    criteria = content.criteria
    stated, placing, consistency = texts_of(criteria), texts_of(criteria.placing), texts_of(criteria.consistency)
    facts = {
        "Title": criteria.title,
        "Version": str(content.criteria_version),
        "Document": criteria.document or UNKNOWN,
        "Tests count": _COUNTING[criteria.final_after_sealing],
        "Rework voids": f"the earlier tests of {_REWORKED[criteria.rework_voids]}; a closure opened for some fibres "
        "those of as many there, one of which is not said for which, those of all in it",
        "Cleaning voids": _CLEANING[criteria.cleaning_voids],
        "Attempts": "documented one by one, each with a higher number than the one before and "
        f"{stated['least_between_attempts_s']} s after it, unless the splicer's own sequence parts the two",
        "Finished splices": _FINISHED[criteria.finished_splices_only],
        "Placing": f"an event belongs to a joint no further away than {placing['tolerance_m']} m or "
        f"{placing['tolerance_percent']} % of the length tested, whichever is more",
        "Scale": "a trace may be longer or shorter than the design by "
        f"{placing['scale_percent']} % of the length tested",
        "Off its spot": "joints that the fibres of a cable show together may lie "
        f"{placing['off_spot_m']} m away, where no other can be meant",
        "Dead zone": f"nothing is seen apart within {placing['dead_zone_pulses']} pulse lengths behind a reflection, "
        f"and no two splices for certain that are less than {placing['parted_pulses']} pulse lengths apart",
        "Not seen": "a joint that a trace does not show loses no more than the trace's threshold and what noise adds; "
        f"where nothing is said of noise, only up to {placing['unseen_within_db']} dB of loss from the instrument",
        "Dark fibres": _dark_text(criteria.dark_fibres_tolerated),
        "Acceptance": _acceptance_text(criteria.deemed_after_days),
        "Signatures": _SIGNATURES[criteria.signature_level],
        "Segments": _PROVEN[criteria.segments_proven],
        "Release": _RELEASES[criteria.release],
        "Below zero": f"a mean of both directions over {stated['mean_below_zero_db']} dB below zero proves nothing",
        "Directions": "two directions of a splice prove nothing where no mode fields of the two fibre types explain "
        f"them with {consistency['scattering_db']} dB for unlike scattering and {consistency['mean_db']} dB for "
        "the uncertainty of their mean",
        "Totals": f"a trace proves nothing whose own total is over {consistency['total_db']} dB off what its events "
        "and sections add up to, last places and what is below its threshold allowed for; where a section or an event "
        "states no loss, only that the others are not more than the total",
        "Source and meter": "a link proves nothing whose loss is not that of its traces by the uncertainty that its "
        f"criterion states and {consistency['span_db']} dB with {consistency['span_percent']} % of the loss for the "
        "traces, and by what the source's actual wavelength explains",
        "Left out": f"of {consistency['least_fibres']} fibres or more one proves nothing that loses "
        f"{consistency['hidden_db']} dB more between its joints than their middle, or less, and more than their spread "
        "explains: by sections, by totals less events, or by source and meter less traces; of fewer, three at least, "
        "one that loses so much more by sections than all sections together explain",
    }
    return Facts(facts=tuple(Fact(label=label, value=value) for label, value in facts.items()))


_COUNTING = {
    True: "when made after the closure was last sealed",
    False: "whether or not the closure was sealed before them",
}
_REWORKED = {
    Voiding.FIBRE: "that fibre",
    Voiding.TRAY: "every fibre in its tray of that closure",
    Voiding.TUBE: "every fibre in its tubes at that closure",
    Voiding.CLOSURE: "every fibre that runs through that closure",
}
_FINISHED = {
    True: "a splice whose latest record has the sleeve not shrunk or the proof test failed conforms to no limit",
    False: "what a splice measures decides, whether its sleeve is shrunk and its proof test passed or not",
}
_CLEANING = {
    True: "the earlier readings of that connection, and the losses and return losses of the link",
    False: "nothing",
}
_SIGNATURES = {
    None: "at the level that the service's settings allow",
    SignatureLevel.B_B: "at least PAdES B-B: without a proven time",
    SignatureLevel.B_T: "at least PAdES B-T: with a time that a time-stamp authority proves",
    SignatureLevel.B_LTA: "at least PAdES B-LTA: with a proven time, and all that is needed to check them after their "
    "certificates have run out",
}
_PROVEN = {
    SegmentsProven.WITH_ROUTE: "a segment conforms once all that is about the whole link does too",
    SegmentsProven.ALONE: "a segment of which all joints are made conforms before the link is joined; what is about "
    "the whole link is asked of the segments that are not made yet, and of all once it is joined",
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


def _count_rows(content: PackageContent, findings: Sequence[Finding]) -> Iterator[tuple[str, ...]]:
    counts = Counter((finding.criterion, finding.outcome) for finding in findings)
    for criterion in content.criteria.criteria:
        yield criterion.code, *(str(counts[criterion.code, outcome]) for outcome in Outcome)
