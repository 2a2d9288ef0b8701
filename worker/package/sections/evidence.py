"""What the findings stand on: instruments, records that no longer count, and the head of the audit chain."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from service.vocabulary.words import RecordKind
from worker.package.data.content import PackageContent, PackagedRecord
from worker.package.document_model import Column, Fact, Facts, Kind, Paragraph, Section, Table, listing
from worker.package.phrases import UNKNOWN, utc_text, words
from worker.package.wording.records import subject_text


def instruments_section(records: Sequence[PackagedRecord]) -> Section:
    """Return the instruments seen in the records that count, each calibration on its own line, and arc calibrations."""
    table = Table(columns=_INSTRUMENT_COLUMNS, rows=tuple(_instrument_rows(records)))
    arcs = sorted(_arc_row(one.body) for one in records if _is_arc_calibration(one) and not one.is_ended)
    arc_table = Table(columns=_ARC_COLUMNS, rows=arcs, is_grouped=True)
    return listing(title="Instruments and calibrations", blocks=[table]).followed_by("Arc calibrations", arc_table)


def ended_records_section(records: Sequence[PackagedRecord]) -> Section:
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
                    Fact(label="Entry", value=str(content.audit_sequence)),
                    Fact(label="SHA-256", value=content.audit_hash, is_code=True),
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
_AIR = ("temperature_c", "humidity_percent", "pressure_hpa", "altitude_m")
_RECORD_COLUMNS = (
    Column(heading="Made", unit="UTC", share=82),
    Column(heading="Kind", share=50),
    Column(heading="About", share=80),
    Column(heading="Why it is listed", share=120),
    Column(heading="Record", share=164),
)


@dataclass(frozen=True, kw_only=True)
class InstrumentUse:
    """One instrument in one record; a splicer states no calibration date."""

    role: str
    serial: str
    calibrated_until: str
    made_at: str


def _instrument_rows(records: Sequence[PackagedRecord]) -> Iterator[tuple[str, ...]]:
    times: dict[tuple[str, str, str], list[str]] = {}
    for record in records:
        if not record.is_ended:
            for seen in instruments_of(record.body):
                times.setdefault((seen.role, seen.serial, seen.calibrated_until), []).append(seen.made_at)
    for instrument, made_at in sorted(times.items()):
        yield (*instrument, str(len(made_at)), utc_text(min(made_at)), utc_text(max(made_at)))


def instruments_of(body: Any) -> Iterator[InstrumentUse]:
    """Give the instruments and splicers that a record names."""
    made_at = str(body["made_at"])
    match body["kind"]:
        case RecordKind.SPLICE:
            yield InstrumentUse(
                role="splicer", serial=body["splicer_serial"], calibrated_until=UNKNOWN, made_at=made_at
            )
        case RecordKind.OTDR:
            until = str(body["calibrated_until"])
            yield InstrumentUse(role="OTDR", serial=body["instrument_serial"], calibrated_until=until, made_at=made_at)
        case RecordKind.TERMINATION if "splicer_serial" in body:
            yield InstrumentUse(
                role="splicer", serial=body["splicer_serial"], calibrated_until=UNKNOWN, made_at=made_at
            )
        case RecordKind.RETURN_LOSS | RecordKind.DISPERSION as kind:
            until = str(body["instrument"]["calibrated_until"])
            role, serial = f"{words(kind)} meter", body["instrument"]["serial"]
            yield InstrumentUse(role=role, serial=serial, calibrated_until=until, made_at=made_at)
        case RecordKind.ATTENUATION:
            for role in ("source", "meter"):
                until = str(body[role]["calibrated_until"])
                yield InstrumentUse(role=role, serial=body[role]["serial"], calibrated_until=until, made_at=made_at)


def _is_arc_calibration(record: PackagedRecord) -> bool:
    return bool(record.body["kind"] == RecordKind.ARC_CALIBRATION)


def _arc_row(body: Any) -> tuple[str, ...]:
    return (
        body["splicer_serial"],
        utc_text(str(body["made_at"])),
        body["fibre_type"],
        body.get("site", UNKNOWN),
        "passed" if body["passed"] else "not passed",
        *(body.get(member, UNKNOWN) for member in _AIR),
    )


def _record_row(record: PackagedRecord) -> tuple[str, ...]:
    body = record.body
    return utc_text(str(body["made_at"])), words(body["kind"]), subject_text(body), _why_text(record), str(body["id"])


def _why_text(record: PackagedRecord) -> str:
    texts = []
    if record.is_ended:
        texts.append(f"replaced or withdrawn: {record.end_reason or 'no reason kept here'}")
    if record.clock_is_flagged:
        texts.append("its clock was off when it arrived")
    return "; ".join(texts)
