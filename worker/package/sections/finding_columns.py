"""The columns of tables of findings, each with what it shows of one."""

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.words import Unit
from worker.package.data.findings import Finding
from worker.package.document_model import Block, Column, Kind, Role, Table, titled
from worker.package.phrases import UNKNOWN, number_text, words
from worker.package.wording.values import (
    A_TO_B,
    B_TO_A,
    fibre_text,
    grade_text,
    limit_text,
    place_text,
    reading_text,
    value_text,
)


class FindingColumn(NamedTuple):
    """A column, and what it shows of a finding."""

    column: Column
    text: Callable[[Finding], str]


def finding_table(shown: Sequence[FindingColumn], findings: Sequence[Finding]) -> Table:
    """Return one row for each finding; how firmly decisions stand has a column where there is anything to say."""
    if any(map(grade_text, findings)):
        shown = (*shown, _GRADE)
    # Equal texts as one: the findings they come from can be let go once the rows stand.
    known: dict[str, str] = {}
    columns = [[known.setdefault(text, text) for text in map(one.text, findings)] for one in shown]
    return Table(columns=tuple(one.column for one in shown), rows=tuple(zip(*columns, strict=True)), is_grouped=True)


def titled_findings(*tables: tuple[str, Sequence[FindingColumn], Sequence[Finding]]) -> Iterator[Block]:
    """Give those of some tables of findings that have any, each under its own heading."""
    return titled(*((heading, finding_table(shown, findings)) for heading, shown, findings in tables))


def measured_in(unit: Unit, *, value: str = "Value", limit: str = "Limit") -> tuple[FindingColumn, ...]:
    """Return the columns of a value held against a limit."""
    return (
        FindingColumn(Column(heading=value, unit=unit, share=66, kind=Kind.NUMBER), value_text),
        FindingColumn(Column(heading=limit, unit=unit, share=44, kind=Kind.NUMBER), _bare_limit),
        FindingColumn(Column(heading="Margin", unit=unit, share=44, kind=Kind.NUMBER), _margin),
    )


def read_both_ways(unit: Unit) -> tuple[FindingColumn, ...]:
    """Return the columns of what was read in each direction."""
    return (
        FindingColumn(
            Column(heading="A to B", unit=unit, share=44, kind=Kind.NUMBER), lambda one: reading_text(one, A_TO_B)
        ),
        FindingColumn(
            Column(heading="B to A", unit=unit, share=44, kind=Kind.NUMBER), lambda one: reading_text(one, B_TO_A)
        ),
    )


def place_column(heading: str, *, share: float) -> FindingColumn:
    """Return the column of where something is."""
    return FindingColumn(Column(heading=heading, share=share), place_text)


def detail_column(heading: str, *, share: float) -> FindingColumn:
    """Return the column of what else is to be said."""
    return FindingColumn(Column(heading=heading, share=share), reason_text)


def reason_text(finding: Finding) -> str:
    """Return what is to be said of a finding in a sentence, or at least its reason."""
    return finding.detail or words(finding.reason or UNKNOWN)


def _bare_limit(finding: Finding) -> str:
    return finding.limit or UNKNOWN


def _margin(finding: Finding) -> str:
    return finding.margin or UNKNOWN


FIBRE = FindingColumn(Column(heading="Fibre", share=30, kind=Kind.NUMBER, role=Role.FIBRE), fibre_text)
FIBRE_LINK = FindingColumn(Column(heading="Fibre", share=30, kind=Kind.NUMBER, role=Role.FIBRE_LINK), fibre_text)
POSITION = FindingColumn(
    Column(heading="Position", share=36, kind=Kind.NUMBER), lambda finding: number_text(finding.position)
)
WAVELENGTH = FindingColumn(
    Column(heading="Wavelength", unit="nm", share=48, kind=Kind.NUMBER),
    lambda finding: number_text(finding.wavelength_nm),
)
CRITERION = FindingColumn(Column(heading="Criterion", share=84), lambda finding: finding.criterion)
ANY_VALUE = FindingColumn(Column(heading="Value", share=66, kind=Kind.NUMBER), value_text)
ANY_LIMIT = FindingColumn(Column(heading="Limit", share=54, kind=Kind.NUMBER), limit_text)
ANY_MARGIN = FindingColumn(Column(heading="Margin", share=50, kind=Kind.NUMBER), _margin)
UNIT = FindingColumn(Column(heading="Unit", share=36), lambda finding: finding.unit or UNKNOWN)
OUTCOME = FindingColumn(Column(heading="Outcome", share=77, kind=Kind.OUTCOME), lambda finding: finding.outcome.value)
_GRADE = FindingColumn(Column(heading="Decision", share=76), grade_text)
