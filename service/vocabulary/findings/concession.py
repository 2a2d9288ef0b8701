"""Leave to use a named nonconforming joint or fibre, or to do without named evidence, with the reason (ISO 9000)."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, NamedTuple

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.validation import Fault


class Subject(NamedTuple):
    """What a finding is about: its criterion, and as much as it names of where."""

    criterion: str
    fibre: int | None = None
    site: str | None = None
    position: int | None = None
    side: str | None = None
    section: str | None = None
    from_site: str | None = None
    to_site: str | None = None


class Concession(q.Value):
    """Findings that may stay as they are, named by criterion, fibre and, at a site, by site and position.

    Those about several fibres together are named without a fibre. `side`, `section`, or `from_site` with `to_site`
    name one of those that a fibre has there; without them all are meant.
    """

    criterion: q.Identifier
    fibre: q.FibreNumber | None = None
    site: q.Identifier | None = None
    position: Annotated[int, Field(strict=True, ge=1, le=4)] | None = None
    side: q.Identifier | None = None
    section: q.Identifier | None = None
    from_site: q.Identifier | None = None
    to_site: q.Identifier | None = None
    reason: q.Text

    @model_validator(mode="after")
    def _name_one_place(self) -> "Concession":
        if (self.from_site is None) is not (self.to_site is None):
            raise ValueError("from_site and to_site go together")
        if self.section is not None and (self.site, self.from_site) != (None, None):
            raise ValueError("a section is neither at a site nor from one to another")
        if self.side is not None and self.site is None:
            raise ValueError("a side is that of a site")
        return self

    @property
    def subject(self) -> Subject:
        """What it names."""
        return Subject(*(getattr(self, name) for name in Subject._fields))

    @property
    def names_closely(self) -> int:
        """How much it names of what it may leave out."""
        return sum(one is not None for one in self.subject[_SURE:])

    def covers(self, subject: Subject) -> bool:
        """Tell whether a finding is among those that are conceded."""
        named = self.subject
        return named[:_SURE] == subject[:_SURE] and all(
            own in {None, there} for own, there in zip(named[_SURE:], subject[_SURE:], strict=True)
        )


# The members by which findings are always named; the others narrow them down.
_SURE = Subject._fields.index("side")


class Conceded:
    """Concessions by what they name, to look findings up in."""

    def __init__(self, concessions: Sequence[Concession]) -> None:
        self._by_name: dict[tuple[object, ...], list[tuple[int, Concession]]] = {}
        for index, one in enumerate(concessions):
            self._by_name.setdefault(one.subject[:_SURE], []).append((index, one))

    def index_for(self, subject: Subject) -> int | None:
        """Return which concession covers a finding: of several the one that names it most closely, then the first."""
        own = self._by_name.get(subject[:_SURE], ())
        covering = [(-one.names_closely, index) for index, one in own if one.covers(subject)]
        return min(covering)[1] if covering else None


def read_concession(row: Mapping[str, object]) -> Concession:
    """Return a concession as a submission keeps it, beside its number and its segments."""
    return Concession.model_validate({name: row[name] for name in Concession.model_fields if name in row})


def subject_of(finding: FindingDocument) -> Subject:
    """Return what a finding is about."""
    return Subject(*(finding.get(name) for name in Subject._fields))  # type: ignore[arg-type]


def faults_in_names(concessions: Iterable[Concession], layout: Layout) -> Iterator[Fault]:
    """Give what concessions name and a design has not."""
    sections = {section.id for section in layout.design.sections}
    for number, one in enumerate(concessions):
        at = f"/concessions/{number}"
        for name in ("site", "from_site", "to_site"):
            site = getattr(one, name)
            if site is not None and site not in layout.site_index:
                yield Fault(pointer=f"{at}/{name}", detail="is not a site of this route")
        if one.section is not None and one.section not in sections:
            yield Fault(pointer=f"{at}/section", detail="is not a section of this route")
        if one.fibre is not None and one.fibre > layout.design.fibre_count:
            yield Fault(pointer=f"{at}/fibre", detail="is not a fibre of this route")
