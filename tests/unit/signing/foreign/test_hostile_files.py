"""Files made to exhaust whoever reads them are refused with a sentence, before a library has read them."""

import os
import random
import re
import signal
import time
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pytest
from cryptography.hazmat.primitives.serialization import Encoding

from service.settings import MAX_SIGNATURE_BYTES
from tests.hostile_files import HOSTILE, NAMED, Base, der, update, xref_stream
from tests.signed_documents import Signed, expect
from tests.signing_people import Signatory, make_signatory, sign_among_lookalikes, sign_as
from worker.limits.process import Limits, WorkEndedError, run_limited
from worker.sealing import foreign_files as foreign
from worker.sealing.foreign_files import TOO_MUCH, check_in_limits, pinned_in_limits
from worker.signing.check.uploaded import Expected, UploadReport, check_uploaded
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD
from worker.signing.foreign import reading
from worker.signing.foreign.bounds import ADDITION, MOST_FILE_BYTES, find_excess
from worker.signing.foreign.signature_shape import check_message
from worker.signing.pdf_values import ExcessError

# What the library takes in its stride may be left to it.
HARMLESS = "objects that lead to each other in a trillion ways"
BOUNDED = [name for name in HOSTILE if name != HARMLESS]
# Seconds each, for so much of it may stand in a package, though not in what is added to one.
LONG = {"100,000 fields for signatures", "200,000 pages", "two million numbers"}
AT_MOST_S = 10.0


@dataclass(frozen=True, kw_only=True)
class Desk:
    """A decided package, the engineer who may sign it, and the hostile files that were made of it so far."""

    package: Signed
    engineer: Signatory
    made: dict[str, bytes] = field(default_factory=dict)

    @property
    def base(self) -> Base:
        return Base.of(self.package.countersigned)

    @property
    def signed(self) -> bytes:
        return sign_as(self.engineer, self.package.countersigned, field=ENGINEER_FIELD)

    @property
    def expected(self) -> Expected:
        return expect(self.package, self.engineer)

    def check_here(self, pdf: bytes) -> UploadReport:
        """Check in this process what is otherwise checked in one of its own."""
        asked = reading.ask_check(self.expected, trust=self.package.trust, now=datetime.now(UTC))
        return reading.read_answer(reading.answer_check(None, [pdf, asked]))

    def check(self, pdf: bytes) -> UploadReport:
        now, trust = datetime.now(UTC), self.package.trust
        return check_in_limits(pdf, expected=self.expected, trust=trust, now=now, come_forward=lambda: None)


@pytest.fixture(scope="module")
def desk(package: Signed) -> Desk:
    return Desk(package=package, engineer=make_signatory())


def make(desk: Desk, name: str) -> bytes:
    pdf = desk.made.get(name) or desk.made.setdefault(name, HOSTILE[name](desk.base))
    assert len(pdf) - len(desk.package.countersigned) <= MAX_SIGNATURE_BYTES, "the door would not let it in"
    return pdf


@pytest.mark.parametrize("name", BOUNDED)
def test_a_hostile_upload_is_refused_before_a_library_reads_it(desk: Desk, name: str) -> None:
    pdf = make(desk, name)
    began_s = time.process_time()
    [problem] = desk.check_here(pdf).problems
    assert time.process_time() - began_s < AT_MOST_S
    assert re.fullmatch(r"What was added to the package [a-z].*\.", problem)
    assert "Error" not in problem


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.slow) if name in LONG else name for name in BOUNDED]
)
def test_a_hostile_package_is_refused_before_a_library_reads_it(desk: Desk, name: str) -> None:
    pdf = make(desk, name)
    began_s = time.process_time()
    excess = find_excess(pdf)
    assert time.process_time() - began_s < AT_MOST_S
    assert excess is not None
    assert excess.endswith(".")


@pytest.mark.parametrize("of", [lambda desk: desk.package.certified, lambda desk: desk.package.countersigned])
def test_a_package_keeps_every_bound(desk: Desk, of: Callable[[Desk], bytes]) -> None:
    assert find_excess(of(desk)) is None
    assert find_excess(of(desk), ours=len(of(desk))) is None


def test_a_signature_keeps_every_bound(desk: Desk) -> None:
    assert find_excess(desk.signed, ours=len(desk.package.countersigned)) is None
    both = sign_as(make_signatory(), desk.signed, field=CONTRACTOR_FIELD)
    assert find_excess(both, ours=len(desk.package.countersigned)) is None


def test_the_bounds_are_those_of_the_door() -> None:
    assert ADDITION.bytes_in_all == MAX_SIGNATURE_BYTES


def test_more_than_any_package_has_is_not_looked_at(desk: Desk) -> None:
    assert find_excess(desk.package.countersigned + bytes(MOST_FILE_BYTES)) == "has more than 67,108,864 bytes."


def test_what_is_harmless_in_an_update_is_let_through(desk: Desk) -> None:
    text = b"[ (a \\( \\\\ (nested) b) <48 69> /Na#6de -1.5 .5 +3 true false null 1 0 R ] % note"
    harmless = update(desk.base, {5000: text})
    assert find_excess(harmless, ours=len(desk.package.countersigned)) is None


def test_cross_references_whose_rows_are_prepared_are_read(desk: Desk) -> None:
    # By what stands above, as tools prepare them (ISO 32000-1, 7.4.4.4; from memory).
    base = desk.base
    place = len(base.pdf) + 1
    first, second = b"\1" + place.to_bytes(4) + b"\0\0", b"\0\0\0\0\0\0\1"
    prepared = bytes((one - above) & 0xFF for one, above in zip(second, first, strict=True))
    about = b"/Size 6000 /W [1 4 2] /Index [5000 1 5001 1] /Prev %d /DecodeParms << /Predictor 12 /Columns 7 >>"
    # The stream itself stands where the first entry says that object 5000 does.
    pdf = xref_stream(base, zlib.compress(b"\2" + first + b"\2" + prepared), about % base.startxref)
    assert find_excess(pdf, ours=len(base.pdf)) is None


def test_a_message_with_lengths_left_open_is_read(desk: Desk) -> None:
    # X.690, 8.1.3.6: as some tools write what goes around a signature.
    inside = bytes.fromhex("06092a864886f70d010702")
    certificates = der(0x30, der(2, b"\1"))
    signed_data = der(2, b"\1") + der(0x31, b"") + der(0x30, inside) + b"\xa0\x80" + certificates * 64 + b"\0\0"
    message = b"\x30\x80" + inside + b"\xa0\x80\x30\x80" + signed_data + b"\0\0" * 3
    check_message(message + bytes(100))
    check_message(bytes(desk.package.key.certificate.public_bytes(Encoding.DER)))
    with pytest.raises(ExcessError, match="more than 64 certificates"):
        check_message(message.replace(certificates * 64, certificates * 65))
    with pytest.raises(ExcessError, match="cannot be read"):
        check_message(message[:-2])


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        *((b"[" * 64 + b"]" * 64, True), (b"[" * 65 + b"]" * 65, False)),
        *((b"9" * 20, True), (b"9" * 21, False), (b"0." + b"9" * 62, True), (b"0." + b"9" * 63, False)),
        *((b"/" + b"x" * 254, True), (b"/" + b"x" * 255, False)),
    ],
)
def test_a_bound_is_where_it_is_said_to_be(desk: Desk, text: bytes, fits: bool) -> None:
    pdf = update(desk.base, {5000: text})
    assert (find_excess(pdf, ours=len(desk.package.countersigned)) is None) is fits


def test_a_good_signature_passes_through_the_limits_as_it_is(desk: Desk) -> None:
    signed = desk.signed
    report = desk.check(signed)
    assert report.problems == ()
    expected, trust = desk.expected, desk.package.trust
    assert report == check_uploaded(signed, expected=expected, trust=trust, now=datetime.now(UTC))


def test_objects_that_lead_to_each_other_in_a_trillion_ways_take_no_time(desk: Desk) -> None:
    assert desk.check(make(desk, HARMLESS)).problems != (TOO_MUCH,)


def instead(monkeypatch: pytest.MonkeyPatch, work: str, **how: Any) -> None:
    """Have something else done where a file is read, within limits of one second of computing and 200 MB."""

    def run(_: str, **__: object) -> Any:
        limits = Limits(memory_bytes=200 << 20, cpu_s=1, time_s=30)
        return run_limited(f"tests.limited_works:{work}", limits=limits, **how)

    monkeypatch.setattr(foreign, "run_limited", run)


@pytest.mark.parametrize("work", [pytest.param("compute", marks=pytest.mark.slow), "fill_memory"])
def test_a_check_that_ends_by_its_own_limits_is_a_refusal(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, work: str
) -> None:
    instead(monkeypatch, work, question=None)
    assert desk.check(desk.signed).problems == (TOO_MUCH,)


@pytest.mark.slow
def test_a_cost_that_shows_in_no_number_is_ended_by_the_limits(desk: Desk) -> None:
    signed = sign_among_lookalikes(desk.package.countersigned, field=ENGINEER_FIELD)
    assert find_excess(signed, ours=len(desk.package.countersigned)) is None
    began = os.times()
    assert desk.check(signed).problems == (TOO_MUCH,)
    ended = os.times()
    assert ended.children_user + ended.children_system - began.children_user - began.children_system < AT_MOST_S


def test_a_check_that_is_killed_from_outside_is_no_refusal(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    instead(monkeypatch, "die", question=int(signal.SIGKILL))
    with pytest.raises(WorkEndedError, match="SIGKILL"):
        desk.check(desk.signed)


def test_who_signed_a_package_is_read_within_limits_too(desk: Desk) -> None:
    found = pinned_in_limits(desk.signed, [desk.engineer.fingerprint], come_forward=lambda: None)
    assert [one == desk.engineer.certificate for one in found] == [True]


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 4))])
def test_whatever_stands_in_what_was_added_the_answer_is_a_report(desk: Desk, seed: int) -> None:
    chance = random.Random(seed)
    bases: list[bytes] = [desk.signed, *(make(desk, name) for name in NAMED if "MB" not in name)]
    for _ in range(100):
        changed = _mutated(chance.choice(bases), start=len(desk.package.countersigned), chance=chance)
        began_s = time.process_time()
        report = desk.check_here(changed)
        assert time.process_time() - began_s < AT_MOST_S
        # Some changes touch nothing that counts: the case of a digit, say.
        assert report.problems or report.signature is not None
        assert all(one.isprintable() for one in report.problems)


_PIECES = (
    *(b"<<", b">>", b"[", b"]", b"(", b")", b"\0", b"%", b" 0 R"),
    *(b"stream\n", b"endobj", b"9" * 12, b"-1", b"/Kids"),
)


def _mutated(pdf: bytes, *, start: int, chance: random.Random) -> bytes:
    """Change some bytes behind a place: replaced, cut out, doubled, or others put between."""
    added = bytearray(pdf[start:])
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(added))
        # Most keep everything in its place, and so get further.
        match chance.randrange(12):
            case 1:
                del added[at : at + chance.randint(1, 40)]
            case 2:
                added[at:at] = added[at : at + chance.randint(1, 200)]
            case 3:
                added[at:at] = chance.choice(_PIECES)
            case 4 | 5 | 6:
                piece = chance.choice(_PIECES)
                added[at : at + len(piece)] = piece
            case _:
                added[at] ^= 1 << chance.randrange(8)
    return pdf[:start] + bytes(added)
