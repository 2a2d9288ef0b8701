"""Tables put together from columns that each say what they show of a row: a heading never stands over other values."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from worker.package.document_model import Column, Kind, Role, Table

T = TypeVar("T")
# A column with what it shows of one row's subject.
Shown = tuple[Column, Callable[[T], str]]


def table_of(shown: Sequence[Shown[T]], subjects: Sequence[T], *, is_grouped: bool = False) -> Table:
    """Return one row for each subject."""
    # Equal texts as one: what they come from can be let go once the rows stand.
    known: dict[str, str] = {}
    columns = [[known.setdefault(text, text) for text in map(show, subjects)] for _, show in shown]
    return Table(columns=tuple(one for one, _ in shown), rows=tuple(zip(*columns, strict=True)), is_grouped=is_grouped)


def text_column(heading: str, share: float, show: Callable[[T], str], *, unit: str | None = None) -> Shown[T]:
    """Return a column of words."""
    return Column(heading=heading, share=share, unit=unit), show


def number_column(
    heading: str, share: float, show: Callable[[T], str], *, unit: str | None = None, role: Role | None = None
) -> Shown[T]:
    """Return a column of numbers."""
    return Column(heading=heading, share=share, unit=unit, kind=Kind.NUMBER, role=role), show


def outcome_column(share: float, show: Callable[[T], str]) -> Shown[T]:
    """Return a column of bare outcomes."""
    return Column(heading="Outcome", share=share, kind=Kind.OUTCOME), show
