"""What the findings stand on: instruments, records that no longer count, and the head of the audit chain."""

from collections.abc import Iterator, Sequence

from worker.package.data.content import PackageContent
from worker.package.data.records import ArcCalibration, RecordOutline
from worker.package.document_model import Column, Fact, Facts, Kind, Paragraph, Section, Table, listing
from worker.package.phrases import UNKNOWN, utc_text, words
from worker.package.wording.records import subject_text


def instruments_section(records: Sequence[RecordOutline]) -> Section:
    """Return the instruments seen in the records that count, each calibration on its own line, and arc calibrations."""
    table = Table(columns=_INSTRUMENT_COLUMNS, rows=tuple(_instrument_rows(records)))
    arcs = sorted(_arc_row(one, one.arc) for one in records if one.arc is not None and not one.is_ended)
    arc_table = Table(columns=_ARC_COLUMNS, rows=arcs, is_grouped=True)
    return listing(title="Instruments and calibrations", blocks=[table]).followed_by("Arc calibrations", arc_table)


def ended_records_section(records: Sequence[RecordOutline]) -> Section:
    """Return the records that were replaced or withdrawn, and those whose clock is in doubt."""
    rows = sorted(_record_row(record) for record in records if record.is_ended or record.clock_is_flagged)
    table = Table(columns=_RECORD_COLUMNS, rows=rows)
    return listing(title="Replaced, withdrawn and doubted records", blocks=[table])


def audit_section(content: PackageContent) -> Section:
    """Return where the project's audit chain stood when the package was made."""
    return Section(
        title="Audit head",
        blocks=(
            Paragraph(
                text="Every request that changes something in this project, and every use of the signing key, adds "
                "an entry to a chain in which each entry holds the hash of the one before. When this package was "
                "made the chain ended with this entry."
            ),
            Facts(
                facts=(
                    Fact(label="Entry", value=str(content.audit.sequence)),
                    Fact(label="SHA-256", value=content.audit.hash, is_code=True),
                )
            ),
        ),
    )


_INSTRUMENT_COLUMNS = (
    Column(heading="Instrument", share=70),
    Column(heading="Serial", share=110),
    Column(heading="Calibrated until", share=80),
    Column(heading="Records", share=45, kind=Kind.NUMBER),
    Column(heading="First used", unit="UTC", share=88),
    Column(heading="Last used", unit="UTC", share=88),
)
_ARC_COLUMNS = (
    Column(heading="Splicer", share=80),
    Column(heading="Made", unit="UTC", share=104),
    Column(heading="Fibre type", share=50),
    Column(heading="Site", share=50),
    Column(heading="Came out", share=56),
    Column(heading="Temperature", unit="°C", share=56, kind=Kind.NUMBER),
    Column(heading="Humidity", unit="%", share=44, kind=Kind.NUMBER),
    Column(heading="Pressure", unit="hPa", share=44, kind=Kind.NUMBER),
    Column(heading="Altitude", unit="m", share=40, kind=Kind.NUMBER),
)
_RECORD_COLUMNS = (
    Column(heading="Made", unit="UTC", share=82),
    Column(heading="Kind", share=50),
    Column(heading="About", share=80),
    Column(heading="Why it is listed", share=120),
    Column(heading="Record", share=164),
)


def _instrument_rows(records: Sequence[RecordOutline]) -> Iterator[tuple[str, ...]]:
    times: dict[tuple[str, str, str], list[str]] = {}
    for record in records:
        if not record.is_ended:
            for role, serial, until in record.instruments:
                times.setdefault((role, serial, until or UNKNOWN), []).append(record.made_at)
    for instrument, made_at in sorted(times.items()):
        yield (*instrument, str(len(made_at)), utc_text(min(made_at)), utc_text(max(made_at)))


def _arc_row(record: RecordOutline, arc: ArcCalibration) -> tuple[str, ...]:
    return (
        record.splicer_serial or UNKNOWN,
        utc_text(record.made_at),
        arc.fibre_type,
        record.site or UNKNOWN,
        "passed" if arc.passed else "not passed",
        *(value or UNKNOWN for value in arc.air),
    )


def _record_row(record: RecordOutline) -> tuple[str, ...]:
    return utc_text(record.made_at), words(record.kind), subject_text(record), _why_text(record), record.id


def _why_text(record: RecordOutline) -> str:
    texts = []
    if record.is_ended:
        texts.append(f"replaced or withdrawn: {record.end_reason or 'no reason kept here'}")
    if record.clock_is_flagged:
        texts.append("its clock was off when it arrived")
    return "; ".join(texts)
