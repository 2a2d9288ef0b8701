"""The instruments behind the findings, and how splicers were calibrated."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from service.vocabulary.records.words import RecordKind
from worker.package.data.records import RecordOutline
from worker.package.document_model import Column, Kind, Section, Table, listing
from worker.package.phrases import UNKNOWN, utc_text
from worker.package.sections.columns import Shown, number_column, table_of, text_column


def instruments_section(records: Sequence[RecordOutline]) -> Section:
    """Return the instruments seen in the records that count, each calibration on its own line, and arc calibrations."""
    table = Table(columns=_INSTRUMENT_COLUMNS, rows=tuple(_instrument_rows(records)))
    arcs = [one for one in records if one.kind is RecordKind.ARC_CALIBRATION and not one.is_ended]
    arc_table = table_of(_ARC_COLUMNS, arcs, is_grouped=True)
    arc_table = replace(arc_table, rows=sorted(arc_table.rows))
    return listing(title="Instruments and calibrations", blocks=[table]).followed_by("Arc calibrations", arc_table)


_INSTRUMENT_COLUMNS = (
    Column(heading="Instrument", share=70),
    Column(heading="Serial", share=110),
    Column(heading="Calibrated until", share=80),
    Column(heading="Records", share=45, kind=Kind.NUMBER),
    Column(heading="First used", unit="UTC", share=88),
    Column(heading="Last used", unit="UTC", share=88),
)
_ARC_COLUMNS: tuple[Shown[RecordOutline], ...] = (
    text_column("Splicer", 80, lambda one: one.splicer_serial or UNKNOWN),
    text_column("Made", 104, lambda one: utc_text(one.made_at), unit="UTC"),
    text_column("Fibre type", 50, lambda one: one.fibre_type or UNKNOWN),
    text_column("Site", 50, lambda one: one.site or UNKNOWN),
    text_column("Came out", 56, lambda one: "passed" if one.passed else "not passed"),
    number_column("Temperature", 56, lambda one: one.temperature_c or UNKNOWN, unit="°C"),
    number_column("Humidity", 44, lambda one: one.humidity_percent or UNKNOWN, unit="%"),
    number_column("Pressure", 44, lambda one: one.pressure_hpa or UNKNOWN, unit="hPa"),
    number_column("Altitude", 40, lambda one: one.altitude_m or UNKNOWN, unit="m"),
)


def _instrument_rows(records: Sequence[RecordOutline]) -> Iterator[tuple[str, ...]]:
    times: dict[tuple[str, str, str], list[str]] = {}
    for record in records:
        if not record.is_ended:
            for role, serial, until in record.instruments:
                times.setdefault((role, serial, until or UNKNOWN), []).append(record.made_at)
    for instrument, made_at in sorted(times.items()):
        yield (*instrument, str(len(made_at)), utc_text(min(made_at)), utc_text(max(made_at)))
