"""Every fibre by every criterion: what came out alike shares a row, so that it is read at a glance at any size."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from service.vocabulary.finding import FindingDocument
from service.vocabulary.words import Force, Outcome
from worker.package.content import PackageContent
from worker.package.pieces import Column, Kind, Look, Paragraph, Section, Subheading, Table
from worker.package.wording import UNKNOWN, numbers_text

MATRIX_TITLE = "Fibres by criterion"
_NOTE = Paragraph(
    text="Fibres that came out alike share a row, with the criteria that keep them from conforming and how often where "
    "that is more than once. A fibre's outcome is the worst of its required findings. What is judged of several fibres "
    "together is under Statistics of joints.",
    look=Look.NOTE,
)
_WORST_FIRST = (Outcome.NONCONFORMING, Outcome.UNDETERMINED, Outcome.CONFORMING)
_FIBRE_COLUMNS = (
    Column(heading="Fibres", share=130),
    Column(heading="Outcome", share=77, kind=Kind.OUTCOME),
    Column(heading="Does not conform", share=150),
    Column(heading="Is undetermined", share=150),
)
_CRITERION_COLUMNS = (
    Column(heading="Criterion", share=130),
    Column(heading="Outcome", share=77, kind=Kind.OUTCOME),
    Column(heading="Fibres", share=300),
)

_Counts = Mapping[Outcome, Counter[str]]


def matrix_section(content: PackageContent, findings: Sequence[FindingDocument]) -> Section:
    """Return which fibres of those submitted fail which criteria, by fibre and by criterion."""
    own = [finding for finding in findings if "fibre" in finding]
    if not own:
        return Section(title=MATRIX_TITLE, blocks=(Paragraph(text="None."),))
    codes = {criterion.code: place for place, criterion in enumerate(content.criteria.criteria)}
    return Section(
        title=MATRIX_TITLE,
        blocks=(
            _NOTE,
            Table(columns=_FIBRE_COLUMNS, rows=tuple(_fibre_rows(own, codes))),
            Subheading(text="The same by criterion, by the worst of each fibre's findings"),
            Table(columns=_CRITERION_COLUMNS, rows=tuple(_criterion_rows(own, codes)), is_grouped=True),
        ),
    )


def _fibre_rows(findings: Sequence[FindingDocument], codes: Mapping[str, int]) -> Iterator[tuple[str, ...]]:
    by_fibre: dict[int, list[FindingDocument]] = {}
    for finding in findings:
        by_fibre.setdefault(finding["fibre"], []).append(finding)
    alike: dict[tuple[str, ...], list[int]] = {}
    for fibre in sorted(by_fibre):
        alike.setdefault(_row_of(by_fibre[fibre], codes), []).append(fibre)
    for row, fibres in sorted(alike.items(), key=lambda item: (_WORST_FIRST.index(Outcome(item[0][0])), item[1][0])):
        yield (numbers_text(fibres), *row)


def _row_of(findings: Sequence[FindingDocument], codes: Mapping[str, int]) -> tuple[str, ...]:
    required = {finding["outcome"] for finding in findings if finding["force"] == Force.REQUIRED}
    outcome = next((one for one in _WORST_FIRST if one in required), Outcome.UNDETERMINED)
    counts: _Counts = {one: Counter() for one in Outcome}
    for finding in findings:
        counts[Outcome(finding["outcome"])][_name_of(finding)] += 1
    return (
        outcome.value,
        _names_text(counts[Outcome.NONCONFORMING], codes),
        _names_text(counts[Outcome.UNDETERMINED], codes),
    )


def _criterion_rows(findings: Sequence[FindingDocument], codes: Mapping[str, int]) -> Iterator[tuple[str, ...]]:
    worst: dict[str, dict[int, Outcome]] = {}
    for finding in findings:
        fibres, outcome = worst.setdefault(_name_of(finding), {}), Outcome(finding["outcome"])
        known = fibres.get(finding["fibre"], outcome)
        fibres[finding["fibre"]] = min(outcome, known, key=_WORST_FIRST.index)
    for name in _in_order(worst, codes):
        for outcome in _WORST_FIRST:
            fibres_so = sorted(fibre for fibre, own in worst[name].items() if own is outcome)
            if fibres_so:
                yield name, outcome.value, numbers_text(fibres_so)


def _name_of(finding: FindingDocument) -> str:
    return f"{finding['criterion']}{' (advisory)' if finding['force'] == Force.ADVISORY else ''}"


def _names_text(counts: Counter[str], codes: Mapping[str, int]) -> str:
    named = (name if counts[name] == 1 else f"{name} ({counts[name]})" for name in _in_order(counts, codes))
    return ", ".join(named) or UNKNOWN


def _in_order(names: Iterable[str], codes: Mapping[str, int]) -> list[str]:
    """Return names in the order in which their criteria were agreed."""
    return sorted(names, key=lambda name: (codes.get(name.partition(" ")[0], len(codes)), name))
