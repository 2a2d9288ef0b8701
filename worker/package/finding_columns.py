"""The columns of tables of findings, each with what it shows of one."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.words import Unit
from worker.package.pieces import Block, Column, Kind, Look, Paragraph, Role, Section, Subheading, Table
from worker.package.wording import (
    A_TO_B,
    B_TO_A,
    UNKNOWN,
    fibre_text,
    grade_text,
    limit_text,
    number_text,
    place_text,
    reading_text,
    value_text,
    words,
)

FindingsByQuantity = Mapping[str, Sequence[FindingDocument]]


class Shown(NamedTuple):
    """A column, and what it shows of a finding."""

    column: Column
    text: Callable[[FindingDocument], str]


def by_quantity(findings: Iterable[FindingDocument]) -> FindingsByQuantity:
    """Return findings by what they are about, in their order."""
    groups: defaultdict[str, list[FindingDocument]] = defaultdict(list)
    for finding in findings:
        groups[finding["quantity"]].append(finding)
    return groups


def finding_table(shown: Sequence[Shown], findings: Sequence[FindingDocument]) -> Table:
    """Return one row for each finding; how firmly decisions stand has a column where there is anything to say."""
    if any(map(grade_text, findings)):
        shown = (*shown, _GRADE)
    # Equal texts as one: the findings they come from can be let go once the rows stand.
    known: dict[str, str] = {}
    rows = tuple(
        tuple(known.setdefault(text, text) for one in shown for text in (one.text(finding),)) for finding in findings
    )
    return Table(columns=tuple(one.column for one in shown), rows=rows, is_grouped=True)


def tables_section(
    title: str, tables: Iterable[tuple[str, Sequence[Shown], Sequence[FindingDocument]]], *, note: str | None = None
) -> Section:
    """Return a section with those of its tables that have rows, each under a heading of its own."""
    blocks: list[Block] = []
    for heading, shown, findings in tables:
        if findings:
            blocks += [Subheading(text=heading), finding_table(shown, findings)]
    if not blocks:
        return Section(title=title, blocks=(Paragraph(text="None."),))
    return Section(title=title, blocks=(*_notes(note), *blocks))


def measured_in(unit: Unit, *, value: str = "Value", limit: str = "Limit") -> tuple[Shown, ...]:
    """Return the columns of a value held against a limit."""
    return (
        Shown(Column(heading=value, unit=unit, share=66, kind=Kind.NUMBER), value_text),
        Shown(Column(heading=limit, unit=unit, share=44, kind=Kind.NUMBER), _bare_limit),
        Shown(Column(heading="Margin", unit=unit, share=44, kind=Kind.NUMBER), _margin),
    )


def read_both_ways(unit: Unit) -> tuple[Shown, ...]:
    """Return the columns of what was read in each direction."""
    return (
        Shown(Column(heading="A to B", unit=unit, share=44, kind=Kind.NUMBER), lambda one: reading_text(one, A_TO_B)),
        Shown(Column(heading="B to A", unit=unit, share=44, kind=Kind.NUMBER), lambda one: reading_text(one, B_TO_A)),
    )


def place_column(heading: str, *, share: float) -> Shown:
    """Return the column of where something is."""
    return Shown(Column(heading=heading, share=share), place_text)


def detail_column(heading: str, *, share: float) -> Shown:
    """Return the column of what else is to be said."""
    return Shown(Column(heading=heading, share=share), reason_text)


def reason_text(finding: FindingDocument) -> str:
    """Return what is to be said of a finding in a sentence, or at least its reason."""
    return finding["detail"] or words(finding.get("reason", UNKNOWN))


def _notes(note: str | None) -> tuple[Paragraph, ...]:
    return () if note is None else (Paragraph(text=note, look=Look.NOTE),)


def _bare_limit(finding: FindingDocument) -> str:
    return finding.get("limit", UNKNOWN)


def _margin(finding: FindingDocument) -> str:
    return finding.get("margin", UNKNOWN)


FIBRE = Shown(Column(heading="Fibre", share=30, kind=Kind.NUMBER, role=Role.FIBRE), fibre_text)
FIBRE_LINK = Shown(Column(heading="Fibre", share=30, kind=Kind.NUMBER, role=Role.FIBRE_LINK), fibre_text)
POSITION = Shown(
    Column(heading="Position", share=36, kind=Kind.NUMBER), lambda finding: number_text(finding.get("position"))
)
WAVELENGTH = Shown(
    Column(heading="Wavelength", unit="nm", share=48, kind=Kind.NUMBER),
    lambda finding: number_text(finding.get("wavelength_nm")),
)
CRITERION = Shown(Column(heading="Criterion", share=84), lambda finding: finding["criterion"])
ANY_VALUE = Shown(Column(heading="Value", share=66, kind=Kind.NUMBER), value_text)
ANY_LIMIT = Shown(Column(heading="Limit", share=54, kind=Kind.NUMBER), limit_text)
ANY_MARGIN = Shown(Column(heading="Margin", share=50, kind=Kind.NUMBER), _margin)
UNIT = Shown(Column(heading="Unit", share=36), lambda finding: finding.get("unit", UNKNOWN))
OUTCOME = Shown(Column(heading="Outcome", share=77, kind=Kind.OUTCOME), lambda finding: finding["outcome"])
_GRADE = Shown(Column(heading="Decision", share=76), grade_text)
