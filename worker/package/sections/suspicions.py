"""What looks unlike honest work: for the engineer to look into, and never decided by any of it."""

from collections.abc import Sequence

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.suspicion import SuspicionDocument
from worker.package.data.content import PackageContent
from worker.package.document_model import Column, Kind, Section, Table, listing
from worker.package.phrases import UNKNOWN, numbers_text, words

SUSPICIONS_TITLE = "Suspicions"

_NOTE = (
    "Each says what was seen and how likely that is in honest work. None decides by itself: no outcome in this "
    "package rests on one, and each may have a harmless cause that the engineer can ask for."
)
# More records than this are counted instead of named; the attached findings name them all.
_NAMED_RECORDS = 3


def suspicions_section(suspicions: Sequence[SuspicionDocument]) -> Section:
    """Return the suspicions, each with what was seen and how likely that is in honest work."""
    table = Table(columns=_COLUMNS, rows=tuple(map(_row, suspicions)))
    return listing(title=SUSPICIONS_TITLE, blocks=[table], note=_NOTE)


def submitted_suspicions(content: PackageContent) -> Sequence[SuspicionDocument]:
    """Return the suspicions about a fibre submitted, or about no fibre in particular."""
    found = content.all_suspicions()
    if not found:
        return ()
    scope, submitted = Layout(content.design).segments_of_fibre, frozenset(content.segments)
    own = {fibre for fibre, segments in scope.items() if not submitted.isdisjoint(segments)}
    return [one for one in found if not one["fibres"] or not own.isdisjoint(one["fibres"])]


_COLUMNS = (
    Column(heading="What", share=80),
    Column(heading="Fibres", share=50, kind=Kind.NUMBER),
    Column(heading="What was seen", share=150),
    Column(heading="Chance in honest work", share=70),
    Column(heading="Records", share=130),
)


def _row(suspicion: SuspicionDocument) -> tuple[str, ...]:
    return (
        words(suspicion["kind"]),
        numbers_text(sorted(suspicion["fibres"])) or UNKNOWN,
        suspicion["detail"],
        suspicion["chance"] or UNKNOWN,
        _records_text(suspicion["records"]),
    )


def _records_text(named: Sequence[str]) -> str:
    return ", ".join(named) if len(named) <= _NAMED_RECORDS else f"{len(named)} records, named in the attached findings"
