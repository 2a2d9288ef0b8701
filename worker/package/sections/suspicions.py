"""What looks unlike honest work: for the engineer to look into, and never decided by any of it."""

from collections.abc import Sequence

from service.vocabulary.findings.suspicion import SuspicionDocument
from worker.package.data.content import PackageContent
from worker.package.document_model import Section, listing
from worker.package.phrases import UNKNOWN, numbers_text, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column

SUSPICIONS_TITLE = "Suspicions"

_NOTE = (
    "Each says what was seen and how likely that is in honest work. None decides by itself: no outcome in this "
    "package rests on one, and each may have a harmless cause that the engineer can ask for. Copies of a fibre are "
    "said above a size: of 24 fibres two that are a fifth as far apart as neighbours over 12 joints, or a third over "
    "24."
)
# More records than this are counted instead of named; the attached findings name them all.
_NAMED_RECORDS = 3


def suspicions_section(suspicions: Sequence[SuspicionDocument]) -> Section:
    """Return the suspicions, each with what was seen and how likely that is in honest work."""
    table = table_of(_COLUMNS, suspicions)
    return listing(title=SUSPICIONS_TITLE, blocks=[table], note=_NOTE)


def submitted_suspicions(content: PackageContent) -> Sequence[SuspicionDocument]:
    """Return the suspicions about a fibre submitted, or about no fibre in particular."""
    scope = content.fibres_in_scope
    return [one for one in content.verdict["suspicions"] if not one["fibres"] or not scope.isdisjoint(one["fibres"])]


def _records_text(named: Sequence[str]) -> str:
    return ", ".join(named) if len(named) <= _NAMED_RECORDS else f"{len(named)} records, named in the attached findings"


_COLUMNS: tuple[Shown[SuspicionDocument], ...] = (
    text_column("What", 80, lambda one: words(one["kind"])),
    number_column("Fibres", 50, lambda one: numbers_text(sorted(one["fibres"])) or UNKNOWN),
    text_column("What was seen", 150, lambda one: one["detail"]),
    text_column("Chance in honest work", 70, lambda one: one["chance"] or UNKNOWN),
    text_column("Records", 130, lambda one: _records_text(one["records"])),
)
