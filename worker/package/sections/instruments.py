"""The instruments behind the findings, and how splicers were calibrated."""

from collections.abc import Iterator, Sequence

from worker.package.data.records import ArcCalibration, RecordOutline
from worker.package.document_model import Column, Kind, Section, Table, listing
from worker.package.phrases import UNKNOWN, utc_text


def instruments_section(records: Sequence[RecordOutline]) -> Section:
    """Return the instruments seen in the records that count, each calibration on its own line, and arc calibrations."""
    table = Table(columns=_INSTRUMENT_COLUMNS, rows=tuple(_instrument_rows(records)))
    arcs = sorted(_arc_row(one, one.arc) for one in records if one.arc is not None and not one.is_ended)
    arc_table = Table(columns=_ARC_COLUMNS, rows=arcs, is_grouped=True)
    return listing(title="Instruments and calibrations", blocks=[table]).followed_by("Arc calibrations", arc_table)


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
