"""What a record is about, and what it says in short, in words."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.vocabulary.words import Qualifier, RecordKind
from worker.package.phrases import UNKNOWN, words

Body = Mapping[str, Any]

TESTS = frozenset(
    {
        RecordKind.OTDR,
        RecordKind.ATTENUATION,
        RecordKind.RETURN_LOSS,
        RecordKind.DISPERSION,
        RecordKind.CONTINUITY,
        RecordKind.END_FACE,
    }
)
# A UUID with fewer would be hard to tell from others outside the package.
_LEAST_DIGITS = 8
_QUALIFIERS = {Qualifier.EQ.value: "", Qualifier.GT.value: "> ", Qualifier.LT.value: "< "}


def subject_text(body: Body) -> str:
    """Return where a record is about what: site or ends, fibre, side, or the splicer."""
    match body["kind"]:
        case RecordKind.SPLICE:
            fibres = ", ".join(str(joint["fibre"]) for joint in body["joints"])
            return f"{body['site']}, fibre {fibres}"
        case RecordKind.CLOSURE_STATE:
            return f"{body['site']}, {body['state']}"
        case RecordKind.ARC_CALIBRATION:
            at = f" at {body['site']}" if "site" in body else ""
            return f"splicer {body['splicer_serial']}{at}"
        case RecordKind.TERMINATION | RecordKind.CLEANING | RecordKind.END_FACE:
            return f"{connection_text(body)}, fibre {body['fibre']}"
        case _:
            return f"{ends_text(body)}, fibre {body['fibre']}"


def ends_text(body: Body) -> str:
    """Return from where to where a test runs, or at which side of which connection something was seen."""
    return f"{body['from_site']} to {body['to_site']}" if "from_site" in body else connection_text(body)


def connection_text(body: Body) -> str:
    """Return the site of a connection, with its position and side where they are named."""
    position = f", position {body['position']}" if "position" in body else ""
    side = f", {words(body['side'])}" if "side" in body else ""
    return f"{body['site']}{position}{side}"


def named_test(body: Body) -> str:
    """Return which test a record is."""
    named = "OTDR" if body["kind"] == RecordKind.OTDR else words(body["kind"])
    wavelength = f" {body['wavelength_nm']} nm" if "wavelength_nm" in body else ""
    pulse = f", {body['pulse_ns']} ns" if "pulse_ns" in body else ""
    return f"{named}{wavelength}{pulse}"


def result_text(body: Body) -> str:
    """Return what a test says as it was posted, with its unit; a trace says too much for one cell."""
    match body["kind"]:
        case RecordKind.ATTENUATION:
            return f"{body['loss_db']} dB"
        case RecordKind.RETURN_LOSS:
            return f"{_QUALIFIERS[body['qualifier']]}{body['return_loss_db']} dB"
        case RecordKind.DISPERSION:
            stated = (("chromatic_ps_per_nm", "ps/nm"), ("pmd_ps", "ps"))
            return ", ".join(f"{body[member]} {unit}" for member, unit in stated if member in body)
        case RecordKind.CONTINUITY:
            return f"fibre {body['seen_fibre']} seen" if "seen_fibre" in body else "all dark"
        case _:
            return UNKNOWN


def telling_digits(ids: Sequence[str]) -> int:
    """Return how many first digits tell records apart."""
    longest = max(map(len, ids), default=_LEAST_DIGITS)
    return next(digits for digits in range(_LEAST_DIGITS, longest + 1) if len({i[:digits] for i in ids}) == len(ids))
