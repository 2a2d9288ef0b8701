"""The concessions asked for, by the numbers that the decision and the engineer's frame name."""

from collections.abc import Callable, Iterator, Sequence
from operator import attrgetter
from typing import NamedTuple

from service.vocabulary.findings.concession import Conceded, Concession, Subject
from service.vocabulary.findings.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.declarations import CONCESSIONS_TITLE
from worker.package.data.findings import Finding
from worker.package.document_model import Role, Section, listing
from worker.package.phrases import UNKNOWN, number_text, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.values import limit_text, place_text, value_text

_NOTE = (
    "A decision grants a concession by its number. A segment that needs one can be accepted only when it is granted."
)


def concessions_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return the concessions asked for, with the value that each would let stand and the segments that need it."""
    asked = list(_asked(content, findings)) if content.concessions else []
    return listing(title=CONCESSIONS_TITLE, blocks=[table_of(_COLUMNS, asked)], note=_NOTE)


_NAMED = attrgetter(*Subject._fields)


class _Asked(NamedTuple):
    """A concession by its number, the finding that needs it, and the segments submitted that this one is about."""

    number: int
    concession: Concession
    finding: Finding | None
    needed_for: Sequence[str]

    def held(self, text: Callable[[Finding], str]) -> str:
        """Return what is to be said of the finding, where there is one."""
        return UNKNOWN if self.finding is None else text(self.finding)


def _asked(content: PackageContent, findings: Sequence[Finding]) -> Iterator[_Asked]:
    conceded, shown = Conceded(content.concessions), dict[int, Finding]()
    # Where one concession covers several findings, the one that needs it is shown.
    for finding in sorted(findings, key=lambda one: one.outcome is not Outcome.CONFORMING):
        index = conceded.index_for(Subject._make(_NAMED(finding)))
        if index is not None:
            shown[index] = finding
    for index, asked in enumerate(content.concessions):
        one = shown.get(index)
        needed_for = [] if one is None else [segment for segment in content.segments if segment in one.segments]
        yield _Asked(index + 1, asked, one, needed_for)


def _place_text(one: _Asked) -> str:
    """Return the place that is named; of what names none, that of the finding that needs it."""
    asked = one.concession
    stretch = f"{asked.from_site} to {asked.to_site}"
    if asked.site is not None:
        site = asked.site if asked.side is None else f"{asked.site}, {words(asked.side)}"
        return site if asked.from_site is None else f"{site}, of {stretch}"
    if asked.section is not None:
        return f"section {asked.section}"
    return one.held(place_text) if asked.from_site is None else stretch


_COLUMNS: tuple[Shown[_Asked], ...] = (
    number_column("Number", 36, lambda one: str(one.number)),
    text_column("Needed for", 58, lambda one: ", ".join(one.needed_for) or UNKNOWN),
    number_column("Fibre", 28, lambda one: str(one.concession.fibre or "all"), role=Role.FIBRE_LINK),
    text_column("Place", 54, _place_text),
    number_column("Position", 36, lambda one: number_text(one.concession.position)),
    text_column("Criterion", 62, lambda one: one.concession.criterion),
    number_column("Value", 44, lambda one: one.held(value_text)),
    number_column("Limit", 40, lambda one: one.held(limit_text)),
    text_column("Unit", 34, lambda one: one.held(lambda finding: finding.unit or UNKNOWN)),
    text_column("Reason given", 150, lambda one: one.concession.reason),
)
