"""What a package says, in order, before anybody thinks of paper: words, and numbers already written as text."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import ClassVar

from worker.package.fonts.text_style import BODY, CODE, NOTE, SUBHEADING, VALUE, WARNING, Style
from worker.package.pictures.picture import Picture


class Kind(StrEnum):
    """What a column holds, and with it how it is set."""

    TEXT = "text"
    NUMBER = "number"
    OUTCOME = "outcome"


class Role(StrEnum):
    """What else a cell is: a fibre that the index lists, one that leads to the index, its line there, or a page."""

    FIBRE = "fibre"
    FIBRE_LINK = "fibre_link"
    ANCHOR = "anchor"
    PAGE = "page"


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a table; `share` is its part of the table's width."""

    heading: str
    share: float
    unit: str | None = None
    kind: Kind = Kind.TEXT
    role: Role | None = None


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows of text under headings; an outcome column holds the bare word. Groups share their first cell."""

    columns: tuple[Column, ...]
    rows: Sequence[tuple[str, ...]]
    is_grouped: bool = False


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """Running text, or a note beside it."""

    text: str
    is_note: bool = False

    @property
    def style(self) -> Style:
        """How its lines are set."""
        return NOTE if self.is_note else BODY


@dataclass(frozen=True, kw_only=True)
class Subheading:
    """A heading within a section."""

    text: str
    style: ClassVar[Style] = SUBHEADING


@dataclass(frozen=True, kw_only=True)
class Fact:
    """A label and what it says."""

    label: str
    value: str
    is_code: bool = False
    is_warning: bool = False

    @property
    def style(self) -> Style:
        """How its value is set."""
        if self.is_warning:
            return WARNING
        return CODE if self.is_code else VALUE


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Labels with their values, one under the other."""

    facts: tuple[Fact, ...]


Block = Paragraph | Subheading | Facts | Table | Picture


@dataclass(frozen=True, kw_only=True)
class Section:
    """A titled part of the package."""

    title: str
    blocks: tuple[Block, ...]

    def followed_by(self, heading: str, table: Table) -> "Section":
        """Return the section with one more table under its heading, if that has rows."""
        return replace(self, blocks=(*self.blocks, *titled((heading, table))))


def listing(*, title: str, blocks: Iterable[Block], note: str | None = None) -> Section:
    """Return a section with its blocks under its note, or with the word that there is nothing to list."""
    listed = tuple(block for block in blocks if not isinstance(block, Table) or block.rows)
    if not listed:
        return Section(title=title, blocks=(Paragraph(text="None."),))
    return Section(title=title, blocks=listed if note is None else (Paragraph(text=note, is_note=True), *listed))


def titled(*tables: tuple[str, Table]) -> Iterator[Block]:
    """Give those of some tables that have rows, each under its own heading."""
    for heading, table in tables:
        if table.rows:
            yield from (Subheading(text=heading), table)


@dataclass(frozen=True, kw_only=True)
class Cover:
    """The first page."""

    title: str
    number: str
    route: str
    statement: str
    facts: Facts
    segments: Table
    segments_note: str | None
    summary: Facts
    digests: Facts
    verification_code: str
    verification_url: str | None
    declared: Facts


@dataclass(frozen=True, kw_only=True)
class SignatureFrame:
    """Where a person's own signature goes: whose, and what to know of it; `inside` is where none will be."""

    title: str
    note: str
    inside: str | None = None


@dataclass(frozen=True, kw_only=True)
class SigningPage:
    """The page for what comes after issue: the decision under the service's seal, and people's own signatures."""

    title: str
    introduction: Paragraph
    decision_title: str
    contractor_frame: SignatureFrame
    engineer_frame: SignatureFrame
    note: Paragraph


@dataclass(frozen=True, kw_only=True)
class MissingGlyph:
    """A character that no embedded typeface has, and where it stands."""

    character: str
    places: tuple[str, ...]

    @property
    def code_point(self) -> str:
        """Its code point as it is usually written."""
        return f"U+{ord(self.character):04X}"


@dataclass(frozen=True, kw_only=True)
class PackageView:
    """A package in words and numbers."""

    title: str
    number: str
    project: str
    author: str
    subject: str
    submitted_at: datetime
    is_demonstration: bool
    cover: Cover
    signing: SigningPage
    sections: tuple[Section, ...]
    missing_glyphs: tuple[MissingGlyph, ...] = ()
