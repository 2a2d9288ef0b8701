"""What a record is about, and what it says in short, in words."""

from collections.abc import Mapping, Sequence

from service.vocabulary.records.words import Qualifier, RecordKind
from worker.package.data.records import RecordOutline
from worker.package.phrases import UNKNOWN, words

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
_QUALIFIERS: Mapping[str | None, str] = {Qualifier.EQ: "", Qualifier.GT: "> ", Qualifier.LT: "< "}


def subject_text(record: RecordOutline) -> str:
    """Return where a record is about what: site or ends, fibre, side, or the splicer."""
    match record.kind:
        case RecordKind.SPLICE:
            numbers = ", ".join(map(str, record.spliced_fibres))
            return f"{record.site}, fibre {numbers}" if numbers else f"{record.site}, another route's"
        case RecordKind.CLOSURE_STATE:
            return f"{record.site}, {lid_text(record)}"
        case RecordKind.CABLE_LAYING:
            return f"{record.section}"
        case RecordKind.ARC_CALIBRATION:
            at = "" if record.site is None else f" at {record.site}"
            return f"splicer {record.splicer_serial}{at}"
        case RecordKind.TERMINATION | RecordKind.CLEANING | RecordKind.END_FACE:
            return f"{connection_text(record)}, fibre {record.fibre}"
        case _:
            return f"{ends_text(record)}, fibre {record.fibre}"


def lid_text(record: RecordOutline) -> str:
    """Return whether a closure was opened or sealed, and for what it was opened where that is said."""
    opened_for = [
        f"tray {one['tray']}" if "tray" in one else f"{one['section']} fibre {_range_text(one['first'], one['last'])}"
        for one in record.opened_for
    ]
    return f"{record.state} for {', '.join(opened_for)}" if opened_for else f"{record.state}"


def _range_text(first: int, last: int) -> str:
    return str(first) if first == last else f"{first} to {last}"


def ends_text(record: RecordOutline) -> str:
    """Return from where to where a test runs, or at which side of which connection something was seen."""
    return connection_text(record) if record.from_site is None else f"{record.from_site} to {record.to_site}"


def connection_text(record: RecordOutline) -> str:
    """Return the site of a connection, with its position and side where they are named."""
    position = "" if record.position is None else f", position {record.position}"
    side = "" if record.side is None else f", {words(record.side)}"
    return f"{record.site}{position}{side}"


def named_test(record: RecordOutline) -> str:
    """Return which test a record is."""
    named = "OTDR" if record.kind is RecordKind.OTDR else words(record.kind)
    wavelength = "" if record.wavelength_nm is None else f" {record.wavelength_nm} nm"
    pulse = "" if record.pulse_ns is None else f", {record.pulse_ns} ns"
    return f"{named}{wavelength}{pulse}"


def result_text(record: RecordOutline) -> str:
    """Return what a test says as it was posted, with its unit; a trace says too much for one cell."""
    match record.kind:
        case RecordKind.ATTENUATION:
            return f"{record.loss_db} dB"
        case RecordKind.RETURN_LOSS:
            return f"{_QUALIFIERS[record.qualifier]}{record.return_loss_db} dB"
        case RecordKind.DISPERSION:
            stated = ((record.chromatic_ps_per_nm, "ps/nm"), (record.pmd_ps, "ps"))
            return ", ".join(f"{value} {unit}" for value, unit in stated if value is not None)
        case RecordKind.CONTINUITY:
            return "all dark" if record.seen_fibre is None else f"fibre {record.seen_fibre} seen"
        case RecordKind.END_FACE if record.instrument_passed is not None:
            return "passed" if record.instrument_passed else "failed"
        case _:
            return UNKNOWN


def splicer_text(record: RecordOutline) -> str:
    """Return with which splicer work was done, and the number that it gave the splice itself."""
    sequence = "" if record.splicer_sequence is None else f" no. {record.splicer_sequence}"
    return UNKNOWN if record.splicer_serial is None else f"{record.splicer_serial}{sequence}"


def telling_digits(ids: Sequence[str]) -> int:
    """Return how many first digits tell records apart."""
    longest = max(map(len, ids), default=_LEAST_DIGITS)
    return next(digits for digits in range(_LEAST_DIGITS, longest + 1) if len({i[:digits] for i in ids}) == len(ids))
