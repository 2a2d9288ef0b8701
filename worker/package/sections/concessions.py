"""The concessions asked for, by the numbers that the decision and the engineer's frame name."""

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.declarations import CONCESSIONS_TITLE
from worker.package.data.findings import Finding
from worker.package.document_model import Role, Section, listing
from worker.package.phrases import UNKNOWN, number_text
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.values import limit_text, place_text, value_text

_NOTE = (
    "A decision grants a concession by its number. A segment that needs one can be accepted only when it is granted."
)


def concessions_section(content: PackageContent, findings: Sequence[Finding]) -> Section:
    """Return the concessions asked for, with the value that each would let stand and the segments that need it."""
    asked = list(_asked(content, findings)) if content.concessions else []
    return listing(title=CONCESSIONS_TITLE, blocks=[table_of(_COLUMNS, asked)], note=_NOTE)


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
    by_subject: dict[tuple[object, ...], Finding] = {}
    # Where one concession covers several findings, the one that needs it is shown.
    for finding in sorted(findings, key=lambda one: one.outcome is not Outcome.CONFORMING):
        by_subject[finding.criterion, finding.fibre, finding.site, finding.position] = finding
    for number, asked in enumerate(content.concessions, start=1):
        conceded = by_subject.get((asked.criterion, asked.fibre, asked.site, asked.position))
        needed_for = [] if conceded is None else [one for one in content.segments if one in conceded.segments]
        yield _Asked(number, asked, conceded, needed_for)


_COLUMNS: tuple[Shown[_Asked], ...] = (
    number_column("Number", 36, lambda one: str(one.number)),
    text_column("Needed for", 58, lambda one: ", ".join(one.needed_for) or UNKNOWN),
    number_column("Fibre", 28, lambda one: str(one.concession.fibre or "all"), role=Role.FIBRE_LINK),
    text_column("Place", 54, lambda one: one.concession.site or one.held(place_text)),
    number_column("Position", 36, lambda one: number_text(one.concession.position)),
    text_column("Criterion", 62, lambda one: one.concession.criterion),
    number_column("Value", 44, lambda one: one.held(value_text)),
    number_column("Limit", 40, lambda one: one.held(limit_text)),
    text_column("Unit", 34, lambda one: one.held(lambda finding: finding.unit or UNKNOWN)),
    text_column("Reason given", 150, lambda one: one.concession.reason),
)
