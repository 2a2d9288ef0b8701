"""The columns of tables of findings, each with what it shows of one."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from service.vocabulary.criteria.words import Quantity, Unit
from worker.package.data.findings import Finding, FindingsByQuantity
from worker.package.document_model import Block, Role, Section, Subheading, Table, listing
from worker.package.phrases import UNKNOWN, number_text, words
from worker.package.sections.columns import Shown, number_column, outcome_column, table_of, text_column
from worker.package.wording.values import (
    A_TO_B,
    B_TO_A,
    fibre_text,
    grade_text,
    limit_text,
    reading_text,
    value_text,
)

FindingColumn = Shown[Finding]


def finding_table(shown: Sequence[FindingColumn], findings: Sequence[Finding]) -> Table:
    """Return one row for each finding; how firmly decisions stand has a column where there is anything to say."""
    with_grade = (*shown, _GRADE) if any(map(grade_text, findings)) else shown
    return table_of(with_grade, findings, is_grouped=True)


def measured_in(unit: Unit, *, value: str = "Value", limit: str = "Limit") -> tuple[FindingColumn, ...]:
    """Return the columns of a value held against a limit."""
    return (
        number_column(value, 66, value_text, unit=unit),
        number_column(limit, 44, lambda finding: finding.limit or UNKNOWN, unit=unit),
        number_column("Margin", 44, _margin, unit=unit),
    )


def read_both_ways(unit: Unit) -> tuple[FindingColumn, ...]:
    """Return the columns of what was read in each direction."""
    return (
        number_column("A to B", 44, lambda finding: reading_text(finding, A_TO_B), unit=unit),
        number_column("B to A", 44, lambda finding: reading_text(finding, B_TO_A), unit=unit),
    )


def detail_text(finding: Finding) -> str:
    """Return what is to be said of a finding in a sentence, or at least its reason."""
    return finding.detail or words(finding.reason or UNKNOWN)


def _margin(finding: Finding) -> str:
    return finding.margin or UNKNOWN


FIBRE: FindingColumn = number_column("Fibre", 30, fibre_text, role=Role.FIBRE)
FIBRE_LINK: FindingColumn = number_column("Fibre", 30, fibre_text, role=Role.FIBRE_LINK)
POSITION: FindingColumn = number_column("Position", 36, lambda finding: number_text(finding.position))
WAVELENGTH: FindingColumn = number_column(
    "Wavelength", 48, lambda finding: number_text(finding.wavelength_nm), unit="nm"
)
CRITERION: FindingColumn = text_column("Criterion", 84, lambda finding: finding.criterion)
ANY_VALUE: FindingColumn = number_column("Value", 66, value_text)
ANY_LIMIT: FindingColumn = number_column("Limit", 54, limit_text)
ANY_MARGIN: FindingColumn = number_column("Margin", 50, _margin)
UNIT: FindingColumn = text_column("Unit", 36, lambda finding: finding.unit or UNKNOWN)
OUTCOME: FindingColumn = outcome_column(77, lambda finding: finding.outcome.value)
# Narrow, as it stands beside all that a table shows anyway.
_TOLD_APART: FindingColumn = text_column("Criterion", 40, lambda finding: finding.criterion)
_GRADE: FindingColumn = text_column("Decision", 76, grade_text)


@dataclass(frozen=True)
class FindingTable:
    """The table of one quantity's findings: by fibre and place, with what it shows of each beside its outcome."""

    quantity: Quantity
    place: FindingColumn
    shows: Sequence[FindingColumn] = ()
    detail: FindingColumn | None = None
    heading: str | None = None

    def blocks(self, findings: Sequence[Finding]) -> Iterator[Block]:
        """Give the table under its heading, or nothing."""
        if findings:
            if self.heading is not None:
                yield Subheading(text=self.heading)
            detail = () if self.detail is None else (self.detail,)
            named = () if CRITERION in self.shows or not _are_of_several(findings) else (_TOLD_APART,)
            yield finding_table((FIBRE, self.place, *self.shows, *named, OUTCOME, *detail), findings)


def _are_of_several(findings: Sequence[Finding]) -> bool:
    """Tell whether criteria of one wavelength are told apart by nothing but their codes."""
    criteria = {(finding.wavelength_nm, finding.criterion) for finding in findings}
    return len({wavelength_nm for wavelength_nm, _ in criteria}) < len(criteria)


class FindingSection:
    """A section that lists findings, quantity by quantity."""

    def __init__(self, title: str, *tables: FindingTable, note: str | None = None) -> None:
        self.title, self.tables, self.note = title, tables, note

    def of(self, findings: FindingsByQuantity) -> Section:
        """Return the section for some findings: quantities without any are left out."""
        blocks = (block for table in self.tables for block in table.blocks(findings.get(table.quantity, ())))
        return listing(title=self.title, blocks=blocks, note=self.note)
