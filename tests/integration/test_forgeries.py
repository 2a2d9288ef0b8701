"""Every forgery that was thought of, at B-B and B-T, with who holds which key, before `verify` and before pdfsig.

pdfsig (poppler 22.12) shares no code with us; what it says is read from its output: it ends with 0 whatever it finds.
It looks at signatures one by one: that it finds a forgery valid shows what only the rules of a package can see.
"""

import random
import subprocess
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.signers.pdf_signer import PdfTimeStamper
from pyhanko.sign.timestamps import TimeStamper

from tests.outside_tools import require_tool
from tests.signed_documents import attach, flip_bit, make_authorities, make_document, signed_gaps, swap_first_page_text
from tests.signed_forms import Cast, judge, make_cast, make_package, sign_field
from worker.demo.authority.throwaway import make_demonstration_authority
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.make.timestamps import CheckedTimeStamper
from worker.signing.report import State
from worker.signing.trust.role_trust import RoleTrust

# Parts of the library have no types.
pdf: Any = generic
RIGHT: Mapping[str, str] = {
    SEAL_FIELD: "service",
    CONTRACTOR_FIELD: "contractor",
    DECISION_FIELD: "service",
    ENGINEER_FIELD: "engineer",
}
VALID, MISMATCH, WHOLE = "Signature is Valid.", "Digest Mismatch", "Total document signed"


@dataclass(frozen=True, kw_only=True)
class Stage:
    """Everybody with their keys, the time where there is one, and what a receiver trusts."""

    cast: Cast
    timestamper: TimeStamper | None
    trust: RoleTrust
    store: Path

    any_timestamper: TimeStamper
    made: dict[tuple[tuple[str, str], ...], bytes] = field(default_factory=dict)

    def package(self, *holders: tuple[str, str]) -> bytes:
        """Return a package of these places, in order, each by its holder's key."""
        if holders not in self.made:
            keys = {place: getattr(self.cast, holder) for place, holder in holders}
            self.made[holders] = make_package(keys, timestamper=self.timestamper)
        return self.made[holders]

    def whole(self, **changes: str) -> bytes:
        """Return a whole package, with some places signed by others."""
        return self.package(*{**RIGHT, **changes}.items())

    def stamp(self, content: bytes) -> bytes:
        """Put a good time stamp over everything, which anybody can have."""
        stamper = self.timestamper or self.any_timestamper
        output: BytesIO = PdfTimeStamper(stamper).timestamp_pdf(IncrementalPdfFileWriter(BytesIO(content)), "sha256")
        return output.getvalue()


@pytest.fixture(scope="module", params=["B-B", "B-T"])
def stage(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Stage:
    cast, now, folder = make_cast(), datetime.now(UTC), tmp_path_factory.mktemp("forgeries")
    authority = make_demonstration_authority(folder / "time", now=now)
    timestamper = CheckedTimeStamper(make_authorities(authority, now=now).ask_time)
    return Stage(
        cast=cast,
        timestamper=timestamper if request.param == "B-T" else None,
        any_timestamper=timestamper,
        trust=replace(cast.of_authorities, time=[authority.root]),
        store=_store(folder, cast),
    )


def _store(folder: Path, cast: Cast) -> Path:
    """Make pdfsig's store of trusted certificates: it knows no roles, so all authorities are in it alike."""
    certutil, store = require_tool("certutil"), folder / "nss"
    store.mkdir()
    _run(certutil, "-N", "-d", f"sql:{store}", "--empty-password")
    authorities = {
        "service": cast.service_authority,
        "contractor": cast.contractor_authority,
        "engineer": cast.engineer_authority,
    }
    for name, one in authorities.items():
        file = folder / f"{name}.pem"
        file.write_text(one.pem)
        _run(certutil, "-A", "-d", f"sql:{store}", "-n", name, "-t", "CT,C,C", "-i", str(file))
    return store


def _run(*command: str) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60).stdout


def ask_pdfsig(content: bytes, *, stage: Stage, folder: Path) -> str:
    file = folder / "package.pdf"
    file.write_bytes(content)
    return _run(require_tool("pdfsig"), "-nssdir", str(stage.store), str(file))


def _updated(content: bytes, change: Callable[[Any], None]) -> bytes:
    writer: Any = IncrementalPdfFileWriter(BytesIO(content))
    # Left alone, the library dates what is changed and puts its name to it.
    writer._update_meta = lambda: None
    change(writer)
    output = BytesIO()
    writer.write(output)
    return output.getvalue()


def _title(writer: Any) -> None:
    writer.trailer["/Info"][pdf.pdf_name("/Title")] = pdf.TextStringObject("Another")
    writer.update_container(writer.trailer["/Info"])


def _metadata(writer: Any) -> None:
    changed = bytes(writer.root["/Metadata"].data).replace(b"</rdf:RDF>", b"<!-- kept --></rdf:RDF>")
    entries = {pdf.pdf_name("/Type"): pdf.pdf_name("/Metadata"), pdf.pdf_name("/Subtype"): pdf.pdf_name("/XML")}
    writer.root[pdf.pdf_name("/Metadata")] = writer.add_object(pdf.StreamObject(entries, stream_data=changed))
    writer.update_root()


def _proofs(writer: Any) -> None:
    stream = writer.add_object(pdf.StreamObject(stream_data=b"no certificate"))
    store = {pdf.pdf_name("/Type"): pdf.pdf_name("/DSS"), pdf.pdf_name("/Certs"): pdf.ArrayObject([stream])}
    writer.root[pdf.pdf_name("/DSS")] = writer.add_object(pdf.DictionaryObject(store))
    writer.update_root()


def _unused(writer: Any) -> None:
    writer.add_object(pdf.StreamObject(stream_data=b"whatever"))


def _attached(content: bytes) -> bytes:
    return attach(content, name="more.json", content=b"{}")


def _flipped_among_signed(content: bytes) -> bytes:
    gap = signed_gaps(content)[-1]
    return flip_bit(content, position=random.Random(1).randrange(1000, gap.start), bit=3)


def _flipped_inside(number: int) -> Callable[[bytes], bytes]:
    def change(content: bytes) -> bytes:
        gap = signed_gaps(content)[number]
        return flip_bit(content, position=gap.start + 1501, bit=0)

    return change


def _in_mixed_case(content: bytes) -> bytes:
    gap = signed_gaps(content)[-1]
    letter = next(at for at in gap if content[at : at + 1].isalpha())
    return content[:letter] + content[letter : letter + 1].swapcase() + content[letter + 1 :]


def _padded(content: bytes) -> bytes:
    gap = signed_gaps(content)[-1]
    return content[: gap.stop - 9] + b"0123abcd" + content[gap.stop - 1 :]


Tamper = Callable[[bytes], bytes]
# What is done to a whole and right package; how often pdfsig then finds a signature valid, and what else it says.
DONE: dict[str, tuple[Tamper, int, str | None, str]] = {
    "a bit among what is signed": (_flipped_among_signed, 0, MISMATCH, "is broken"),
    "a byte behind the end": (lambda found: found + b"\n", 4, f"not {WHOLE}", "added to the file"),
    "1 kB behind the end": (lambda found: found + b"x" * 1000, 4, f"not {WHOLE}", "added to the file"),
    "a page replaced": (swap_first_page_text, 4, f"not {WHOLE}", "changes it does not permit"),
    "a file attached": (_attached, 4, f"not {WHOLE}", "changes it does not permit"),
    "the title changed": (lambda found: _updated(found, _title), 4, f"not {WHOLE}", "changes /Title"),
    "the metadata changed": (lambda found: _updated(found, _metadata), 4, f"not {WHOLE}", "document's metadata"),
    "no proof among the proofs": (
        lambda found: _updated(found, _proofs),
        4,
        f"not {WHOLE}",
        "nothing of its signature",
    ),
    "an object nobody uses": (lambda found: _updated(found, _unused), 4, f"not {WHOLE}", "nothing of its signature"),
    "two cases of letters in the last": (_in_mixed_case, 4, WHOLE, "leaves room"),
    "bytes behind the last signature": (_padded, 4, None, "leaves room"),
}


@pytest.mark.parametrize("row", DONE)
def test_what_is_done_to_a_whole_package_is_seen(stage: Stage, row: str, tmp_path: Path) -> None:
    tamper, valid, also, said = DONE[row]
    forged = tamper(stage.whole())
    report = judge(forged, stage.trust)
    assert report.state is State.BAD
    assert any(said in one for one in report.problems), report.problems
    told = ask_pdfsig(forged, stage=stage, folder=tmp_path)
    assert told.count(VALID) == valid, told
    if also is not None:
        assert (also.removeprefix("not ") in told) is not also.startswith("not ")


@pytest.mark.parametrize("row", [row for row in DONE if DONE[row][2] == f"not {WHOLE}" and "behind" not in row])
def test_a_good_time_stamp_over_it_hides_nothing(stage: Stage, row: str) -> None:
    tamper, _, _, said = DONE[row]
    report = judge(stage.stamp(tamper(stage.whole())), stage.trust)
    assert report.state is State.BAD
    assert any(said in one for one in report.problems), report.problems


def test_a_whole_and_right_package_is_complete_and_all_its_signatures_valid(stage: Stage, tmp_path: Path) -> None:
    report = judge(stage.whole(), stage.trust)
    assert (report.state, report.problems) == (State.COMPLETE, ())
    told = ask_pdfsig(stage.whole(), stage=stage, folder=tmp_path)
    assert (told.count(VALID), told.count(WHOLE)) == (4, 1)
    stamped = judge(stage.stamp(stage.whole()), stage.trust)
    assert (stamped.state, stamped.problems) == (State.COMPLETE, ())


@pytest.mark.parametrize("number", [0, 1, 2])
def test_bits_inside_a_signature_that_another_covers_are_seen(stage: Stage, number: int, tmp_path: Path) -> None:
    forged = _flipped_inside(number)(stage.whole())
    assert judge(forged, stage.trust).state is State.BAD
    assert ask_pdfsig(forged, stage=stage, folder=tmp_path).count(VALID) < 4


def test_no_digit_of_a_single_signature_changes_unseen(stage: Stage) -> None:
    alone, chosen = stage.package((SEAL_FIELD, "service")), random.Random(2)
    gap = signed_gaps(alone)[-1]
    for position in chosen.sample(range(gap.start + 1, gap.stop - 1), 20):
        for digit in (b"7", b"c"):
            changed = alone[:position] + digit + alone[position + 1 :]
            assert changed == alone or judge(changed, stage.trust).state is State.BAD, position


def test_a_file_that_nobody_signed_is_bad(stage: Stage, tmp_path: Path) -> None:
    unsigned = make_document()
    assert judge(unsigned, stage.trust).problems == ("The document is not signed.",)
    assert VALID not in ask_pdfsig(unsigned, stage=stage, folder=tmp_path)


# Who holds which key, the others as they should be.
HELD: dict[str, dict[str, str]] = {
    "the contractor signs as the engineer": {ENGINEER_FIELD: "contractor"},
    "the engineer signs as the contractor": {CONTRACTOR_FIELD: "engineer"},
    "they sign in each other's place": {CONTRACTOR_FIELD: "engineer", ENGINEER_FIELD: "contractor"},
    "the service signs as the engineer": {ENGINEER_FIELD: "service"},
    "the service signs as the contractor": {CONTRACTOR_FIELD: "service"},
    "the engineer seals the decision": {DECISION_FIELD: "engineer"},
    "the contractor seals the decision": {DECISION_FIELD: "contractor"},
    "the engineer seals the package": {SEAL_FIELD: "engineer"},
    "the contractor makes all of it": dict.fromkeys(RIGHT, "contractor"),
    "the engineer makes all of it": dict.fromkeys(RIGHT, "engineer"),
}


@pytest.mark.parametrize("row", HELD)
def test_a_key_in_anothers_place_is_seen_here_and_valid_to_pdfsig(stage: Stage, row: str, tmp_path: Path) -> None:
    forged = stage.whole(**HELD[row])
    for trust in (stage.trust, replace(stage.cast.trust(), time=stage.trust.time)):
        assert judge(forged, trust).state is State.BAD
    assert ask_pdfsig(forged, stage=stage, folder=tmp_path).count(VALID) == 4


def test_a_stranger_in_any_place_is_seen(stage: Stage) -> None:
    for place in RIGHT:
        assert judge(stage.whole(**{place: "stranger"}), stage.trust).state is State.BAD


def test_what_was_cut_off_is_awaited_and_an_engineers_refusal_with_it(stage: Stage, tmp_path: Path) -> None:
    issued = stage.package((SEAL_FIELD, "service"))
    refused = sign_field(issued, field=DECISION_FIELD, by=stage.cast.service, timestamper=stage.timestamper)
    assert refused.startswith(issued)
    assert judge(refused, stage.trust).is_sound
    cut_back = judge(refused[: len(issued)], stage.trust)
    assert (cut_back.state, cut_back.problems) == (State.AWAITING, ())
    assert "decision" in cut_back.awaited
    assert ask_pdfsig(issued, stage=stage, folder=tmp_path).count(VALID) == 1
