"""Certifying and countersigning let nothing out that a receiver would not accept, and touch nothing signed before."""

import subprocess
import sys
from dataclasses import replace
from io import BytesIO
from typing import Any

import pytest
from pyhanko.pdf_utils.reader import PdfFileReader
from pypdf import PdfReader

from service.vocabulary.signatures import SignaturePlace
from tests.signed_documents import (
    BOXES,
    CERTIFIED_AT,
    FONT_FILE,
    NOW,
    STAMP_LINES,
    Signed,
    certify_document,
    countersign_document,
    swap_first_page_text,
)
from worker.signing.check.verify import verify
from worker.signing.errors import DocumentUnsignableError, OwnSignatureError, SigningKeyUnfitError
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.make.certify import certify
from worker.signing.make.countersign import countersign
from worker.signing.make.stamp import draw_stamp
from worker.signing.trust.role_trust import RoleTrust


def test_every_signature_only_adds_to_the_file(signed: Signed) -> None:
    assert signed.certified.startswith(signed.unsigned)
    assert signed.countersigned.startswith(signed.certified)


def test_the_peoples_fields_stand_where_they_were_asked_for_and_the_seal_is_invisible(signed: Signed) -> None:
    fields = {f["/T"]: [int(edge) for edge in f["/Rect"]] for f in form_fields(signed.certified)}
    left, bottom, right, top = fields.pop(SEAL_FIELD)
    assert (right - left, top - bottom) == (0, 0)
    assert fields == {
        CONTRACTOR_FIELD: list(BOXES[SignaturePlace.CONTRACTOR]),
        DECISION_FIELD: list(BOXES[SignaturePlace.DECISION]),
        ENGINEER_FIELD: list(BOXES[SignaturePlace.ENGINEER]),
    }


def test_a_reserved_field_has_an_appearance_that_shows_nothing(signed: Signed) -> None:
    for form_field in form_fields(signed.certified):
        if form_field["/T"] != SEAL_FIELD:
            assert form_field["/AP"]["/N"].data.strip() == b""


def form_fields(pdf: bytes) -> list[Any]:
    fields = PdfFileReader(BytesIO(pdf)).root["/AcroForm"]["/Fields"]
    return [fields[index] for index in range(len(fields))]


@pytest.mark.parametrize("field", [CONTRACTOR_FIELD, ENGINEER_FIELD])
def test_the_services_key_is_not_let_into_a_persons_place(signed: Signed, field: str) -> None:
    with pytest.raises(OwnSignatureError, match="One key signed as the service's seal and as"):
        countersign(
            signed.countersigned,
            key=signed.key,
            signed_at=NOW,
            reason="Submitted",
            field=field,
            stamps=[STAMP_LINES],
            font_file=FONT_FILE,
        )


def test_a_renewed_key_of_another_authority_seals_what_it_was_told_to_trust(
    signed: Signed, other_authority: Signed
) -> None:
    countersigned = countersign(
        signed.certified,
        key=other_authority.key,
        signed_at=CERTIFIED_AT,
        reason="Accepted",
        field=DECISION_FIELD,
        stamps=[STAMP_LINES],
        font_file=FONT_FILE,
        trust=RoleTrust(service=signed.trust),
    ).pdf
    both = RoleTrust(service=[*signed.trust, *other_authority.trust])
    assert verify(countersigned, trust=both, now=NOW).is_sound
    [problem] = verify(countersigned, trust=RoleTrust(service=signed.trust), now=NOW).problems
    assert problem.startswith("The signature of the service's seal over the decision is by nobody")


def test_a_seal_nobody_told_us_to_trust_is_not_countersigned(signed: Signed, other_authority: Signed) -> None:
    with pytest.raises(DocumentUnsignableError, match="vouches for"):
        countersign_document(signed.certified, key=other_authority.key)


def test_a_field_is_signed_once(signed: Signed) -> None:
    with pytest.raises(DocumentUnsignableError, match="missing or signed"):
        countersign_document(signed.countersigned, key=signed.key)


def test_a_document_is_certified_once(signed: Signed) -> None:
    with pytest.raises(DocumentUnsignableError):
        certify_document(signed.certified, key=signed.key)


@pytest.mark.parametrize("content", [b"", b"not a PDF", b"%PDF-1.4\n%%EOF"])
def test_what_is_no_pdf_is_not_certified(signed: Signed, content: bytes) -> None:
    with pytest.raises(DocumentUnsignableError):
        certify_document(content, key=signed.key)


def test_an_uncertified_or_altered_document_is_not_countersigned(signed: Signed) -> None:
    for pdf in (signed.unsigned, swap_first_page_text(signed.certified), signed.certified + b"\n"):
        with pytest.raises(DocumentUnsignableError, match="Only a good package"):
            countersign_document(pdf, key=signed.key)


def test_a_key_out_of_date_signs_nothing(signed: Signed) -> None:
    late = signed.key.certificate.not_valid_after_utc.replace(year=2030)
    with pytest.raises(SigningKeyUnfitError):
        certify(signed.unsigned, key=signed.key, signed_at=late, reason="Late", boxes=BOXES)


def test_a_signature_that_does_not_verify_is_not_let_out(signed: Signed, other_authority: Signed) -> None:
    mixed_up = replace(signed.key, signer=other_authority.key.signer)
    with pytest.raises(OwnSignatureError) as refusal:
        certify_document(signed.unsigned, key=mixed_up)
    assert "vouches for" in refusal.value.problems[0]


def make_stamp(*lines: str, width_pt: float = 220, height_pt: float = 60) -> bytes:
    return draw_stamp([lines], width_pt=width_pt, height_pt=height_pt, font_file=FONT_FILE)


def test_a_stamp_says_what_it_was_given_and_is_the_same_each_time() -> None:
    stamp = make_stamp("Accepted by Ž. Ωmega", "Жук ≤ 0.1 dB")
    assert PdfReader(BytesIO(stamp)).pages[0].extract_text().splitlines() == ["Accepted by Ž. Ωmega", "Жук ≤ 0.1 dB"]
    assert make_stamp("Accepted by Ž. Ωmega", "Жук ≤ 0.1 dB") == stamp


# U+5F20 is not in the font; U+202E would show the rest of a name backwards.
@pytest.mark.parametrize("character", ["\u5f20", "\u202e", "\n", "\x00"])
def test_a_character_that_cannot_be_shown_is_replaced_where_all_can_see(character: str) -> None:
    [line] = PdfReader(BytesIO(make_stamp(f"A{character}B"))).pages[0].extract_text().splitlines()
    assert line == "A\ufffdB"


@pytest.mark.parametrize("lines", [["W" * 200], ["one line"] * 30, [], [""]])
def test_a_stamp_fits_its_box_however_much_it_says(lines: list[str]) -> None:
    page = PdfReader(BytesIO(make_stamp(*lines))).pages[0]
    positions: list[tuple[float, float]] = []
    widths: list[float] = []

    def note(text: str, _: object, matrix: list[float], __: object, size_pt: float) -> None:
        if text.strip():
            positions.append((matrix[4], matrix[5]))
            # 0.989 em: the advance of W in this font, read from its hmtx table; no letter used here is wider.
            widths.append(len(text.strip()) * 0.989 * size_pt)

    page.extract_text(visitor_text=note)
    assert len(positions) >= len([line for line in lines if line])
    shown = "".join(page.extract_text().split())
    assert shown == "".join(lines).replace(" ", "")
    assert all(x >= 0 and x + width <= 220 and 0 <= y <= 60 for (x, y), width in zip(positions, widths, strict=True))


def test_signing_brings_nothing_of_the_service_along_but_words() -> None:
    words = {"service", "service.vocabulary", "service.vocabulary.signatures"}
    program = "import sys, worker.signing.make.certify, worker.signing.make.countersign; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    came = set(done.stdout.split())
    assert {name for name in came if name.split(".")[0] == "service"} == words
    assert came.isdisjoint(
        {"worker.package", "worker.judgement", "pydantic", "sqlalchemy", "celery", "redis", "fastapi"}
    )
