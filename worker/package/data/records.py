"""What pages say of a record, read once: of a trace's events and of how a fibre was spliced the findings speak."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from service.vocabulary.words import RecordKind
from worker.package.data.content import PackagedRecord
from worker.package.phrases import words


class Instrument(NamedTuple):
    """An instrument or a splicer in one record; a splicer states no calibration date."""

    role: str
    serial: str
    calibrated_until: str | None = None


class ArcCalibration(NamedTuple):
    """What a splicer's arc was calibrated for, whether it passed, and the air: °C, %, hPa and the altitude in m."""

    fibre_type: str
    passed: bool
    air: tuple[str | None, ...]


class RecordOutline(NamedTuple):
    """A record as pages show it; `None` where its kind or the record itself does not say."""

    id: str
    kind: RecordKind
    made_at: str
    operator: str
    is_ended: bool
    clock_is_flagged: bool
    end_reason: str | None
    fibre: int | None
    spliced_fibres: tuple[int, ...]
    site: str | None
    from_site: str | None
    to_site: str | None
    position: int | None
    side: str | None
    state: str | None
    attempt: int | None
    splicer_serial: str | None
    wavelength_nm: int | None
    pulse_ns: int | None
    loss_db: str | None
    return_loss_db: str | None
    qualifier: str | None
    chromatic_ps_per_nm: str | None
    pmd_ps: str | None
    seen_fibre: int | None
    instruments: tuple[Instrument, ...]
    arc: ArcCalibration | None


# Named alike in the record and in its outline.
_MEMBERS = (
    *("site", "from_site", "to_site", "position", "side", "state", "attempt", "splicer_serial"),
    *(
        "wavelength_nm",
        "pulse_ns",
        "loss_db",
        "return_loss_db",
        "qualifier",
        "chromatic_ps_per_nm",
        "pmd_ps",
        "seen_fibre",
    ),
)
_AIR = ("temperature_c", "humidity_percent", "pressure_hpa", "altitude_m")


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
        fibre=body.get("fibre"),
        spliced_fibres=tuple(joint["fibre"] for joint in body.get("joints", ())),
        **{name: body.get(name) for name in _MEMBERS},
        instruments=tuple(_instruments(kind, body)),
        arc=_arc(body) if kind is RecordKind.ARC_CALIBRATION else None,
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


def _arc(body: Mapping[str, Any]) -> ArcCalibration:
    return ArcCalibration(body["fibre_type"], body["passed"], tuple(body.get(member) for member in _AIR))
