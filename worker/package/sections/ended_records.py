"""Records that no longer count, and those whose clock is in doubt."""

from collections.abc import Sequence

from worker.package.data.records import RecordOutline
from worker.package.document_model import Column, Section, Table, listing
from worker.package.phrases import utc_text, words
from worker.package.wording.records import subject_text


def ended_records_section(records: Sequence[RecordOutline]) -> Section:
    """Return the records that were replaced or withdrawn, and those whose clock is in doubt."""
    rows = sorted(_record_row(record) for record in records if record.is_ended or record.clock_is_flagged)
    table = Table(columns=_RECORD_COLUMNS, rows=rows)
    return listing(title="Replaced, withdrawn and doubted records", blocks=[table])


_RECORD_COLUMNS = (
    Column(heading="Made", unit="UTC", share=82),
    Column(heading="Kind", share=50),
    Column(heading="About", share=80),
    Column(heading="Why it is listed", share=120),
    Column(heading="Record", share=164),
)


def _record_row(record: RecordOutline) -> tuple[str, ...]:
    return utc_text(record.made_at), words(record.kind), subject_text(record), _why_text(record), record.id


def _why_text(record: RecordOutline) -> str:
    texts = []
    if record.is_ended:
        texts.append(f"replaced or withdrawn: {record.end_reason or 'no reason kept here'}")
    if record.annulment_reason is not None:
        texts.append(f"annulled by the engineer: {record.annulment_reason}")
    if record.clock_is_flagged:
        texts.append("its clock was off when it arrived")
    return "; ".join(texts)
