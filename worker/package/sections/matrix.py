"""Every fibre by every criterion: what came out alike shares a row, so that it is read at a glance at any size."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.words import Force
from service.vocabulary.findings.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.document_model import Column, Kind, Section, Table, listing, titled
from worker.package.phrases import UNKNOWN, numbers_text

MATRIX_TITLE = "Fibres by criterion"
_NOTE = (
    "Fibres that came out alike share a row, with the criteria that keep them from conforming and how often where "
    "that is more than once. A fibre's outcome is the worst of its required findings. What is judged of several fibres "
    "together is under Statistics of joints."
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


def matrix_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return which fibres of those submitted fail which criteria, by fibre and by criterion."""
    counts = Counter(
        _Came(finding.fibre, finding.criterion, finding.force, finding.outcome)
        for finding in findings
        if finding.fibre is not None
    )
    codes = {criterion.code: place for place, criterion in enumerate(content.criteria.criteria)}
    by_fibre = Table(columns=_FIBRE_COLUMNS, rows=tuple(_fibre_rows(counts, codes)))
    by_criterion = Table(columns=_CRITERION_COLUMNS, rows=tuple(_criterion_rows(counts, codes)), is_grouped=True)
    title = "The same by criterion, by the worst of each fibre's findings"
    return listing(title=MATRIX_TITLE, blocks=[by_fibre, *titled((title, by_criterion))], note=_NOTE)


class _Came(NamedTuple):
    """How findings of one fibre and one criterion came out."""

    fibre: int
    criterion: str
    force: Force
    outcome: Outcome

    @property
    def name(self) -> str:
        """The criterion, and whether it only advises."""
        return f"{self.criterion}{' (advisory)' if self.force is Force.ADVISORY else ''}"


def _fibre_rows(counts: Counter[_Came], codes: Mapping[str, int]) -> Iterator[tuple[str, ...]]:
    by_fibre: dict[int, list[_Came]] = {}
    for came in counts:
        by_fibre.setdefault(came.fibre, []).append(came)
    alike: dict[tuple[str, ...], list[int]] = {}
    for fibre in sorted(by_fibre):
        alike.setdefault(_row_of(by_fibre[fibre], counts, codes), []).append(fibre)
    for row, fibres in sorted(alike.items(), key=lambda item: (_WORST_FIRST.index(Outcome(item[0][0])), item[1][0])):
        yield (numbers_text(fibres), *row)


def _row_of(own: Sequence[_Came], counts: Counter[_Came], codes: Mapping[str, int]) -> tuple[str, ...]:
    required = {came.outcome for came in own if came.force is Force.REQUIRED}
    outcome = next((one for one in _WORST_FIRST if one in required), Outcome.UNDETERMINED)
    not_kept = (Counter({came.name: counts[came] for came in own if came.outcome is one}) for one in _WORST_FIRST[:2])
    return (outcome.value, *(_names_text(names, codes) for names in not_kept))


def _criterion_rows(counts: Iterable[_Came], codes: Mapping[str, int]) -> Iterator[tuple[str, ...]]:
    worst: dict[str, dict[int, Outcome]] = {}
    for came in sorted(counts, key=lambda came: _WORST_FIRST.index(came.outcome), reverse=True):
        worst.setdefault(came.name, {})[came.fibre] = came.outcome
    for name in _in_order(worst, codes):
        for outcome in _WORST_FIRST:
            fibres_so = sorted(fibre for fibre, own in worst[name].items() if own is outcome)
            if fibres_so:
                yield name, outcome.value, numbers_text(fibres_so)


def _names_text(counts: Counter[str], codes: Mapping[str, int]) -> str:
    named = (name if counts[name] == 1 else f"{name} ({counts[name]})" for name in _in_order(counts, codes))
    return ", ".join(named) or UNKNOWN


def _in_order(names: Iterable[str], codes: Mapping[str, int]) -> list[str]:
    """Return names in the order in which their criteria were agreed."""
    return sorted(names, key=lambda name: (codes.get(name.partition(" ")[0], len(codes)), name))
