"""What pages say of a record, read once: of a trace's events and of how a fibre was spliced the findings speak."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from service.vocabulary.records.words import RecordKind
from worker.package.data.content import PackagedRecord
from worker.package.phrases import words


class Instrument(NamedTuple):
    """An instrument or a splicer in one record; a splicer states no calibration date."""

    role: str
    serial: str
    calibrated_until: str | None = None


class RecordOutline(NamedTuple):
    """A record as pages show it; `None` where its kind or the record itself does not say."""

    id: str
    kind: RecordKind
    made_at: str
    operator: str
    is_ended: bool
    clock_is_flagged: bool
    end_reason: str | None
    annulment_reason: str | None
    spliced_fibres: tuple[int, ...]
    instruments: tuple[Instrument, ...]
    fibre: int | None = None
    site: str | None = None
    from_site: str | None = None
    to_site: str | None = None
    position: int | None = None
    side: str | None = None
    state: str | None = None
    # Of cable laid: which section's, when, of which reel, and the marks on its sheath.
    section: str | None = None
    laid_on: str | None = None
    reel: str | None = None
    sheath_marks: Sequence[Mapping[str, str]] = ()
    # What a closure was opened for, where that is said.
    opened_for: Sequence[Mapping[str, Any]] = ()
    attempt: int | None = None
    splicer_serial: str | None = None
    splicer_sequence: int | None = None
    wavelength_nm: int | None = None
    pulse_ns: int | None = None
    loss_db: str | None = None
    return_loss_db: str | None = None
    qualifier: str | None = None
    chromatic_ps_per_nm: str | None = None
    pmd_ps: str | None = None
    seen_fibre: int | None = None
    instrument_passed: bool | None = None
    # Of an arc calibration, with the air that it was done in.
    fibre_type: str | None = None
    passed: bool | None = None
    temperature_c: str | None = None
    humidity_percent: str | None = None
    pressure_hpa: str | None = None
    altitude_m: str | None = None


# Named alike in the record, which leaves out what it does not say.
_NAMED_ALIKE = frozenset(RecordOutline._field_defaults)


def outline_of(record: PackagedRecord) -> RecordOutline:
    """Return what pages say of a record."""
    body = record.body
    kind = RecordKind(body["kind"])
    return RecordOutline(
        id=body["id"],
        kind=kind,
        made_at=body["made_at"],
        operator=body["operator"],
        is_ended=record.is_ended,
        clock_is_flagged=record.clock_is_flagged,
        end_reason=record.end_reason,
        annulment_reason=record.annulment_reason,
        # Of another route's splicing it matters here only that a closure was open for it.
        spliced_fibres=() if record.is_of_other_route else tuple(joint["fibre"] for joint in body.get("joints", ())),
        instruments=tuple(_instruments(kind, body)),
        **{name: value for name, value in body.items() if name in _NAMED_ALIKE},
    )


def _instruments(kind: RecordKind, body: Mapping[str, Any]) -> Iterator[Instrument]:
    match kind:
        case RecordKind.SPLICE:
            yield Instrument("splicer", body["splicer_serial"])
        case RecordKind.TERMINATION if "splicer_serial" in body:
            yield Instrument("splicer", body["splicer_serial"])
        case RecordKind.OTDR:
            yield Instrument("OTDR", body["instrument_serial"], body["calibrated_until"])
        case RecordKind.RETURN_LOSS | RecordKind.DISPERSION:
            yield Instrument(f"{words(kind)} meter", **body["instrument"])
        case RecordKind.ATTENUATION:
            yield from (Instrument(role, **body[role]) for role in ("source", "meter"))
