"""Packages under the rules of archives, by a validator from outside: what it still finds, part 3 allows.

The validator knows part 1 of the standard, level B (ISO 19005-1). A twin of a package without attached files, which
part 1 forbids, says of itself that it is of part 1; whatever is found then is a fault, unless it is listed here with
the clause of part 3 that allows it. Clauses are from memory.
"""

import re
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.outside_tools import require_archive_validator
from tests.package_factories import make_content
from tests.signed_documents import NOW, Signed, countersign_document, make_signed
from tests.unit.package.judged import judged_content
from worker.package.data.content import PackageContent
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE, draw
from worker.package.view import build_view
from worker.signing.make.certify import certify

ALLOWED_AS_DRAWN: Mapping[str, str] = {
    "1.4.7 : Trailer Syntax error, EmbeddedFile entry is present in the Names dictionary": (
        "6.8: files may be attached; the twin's tree of them is empty"
    ),
    "2.1.6 : Invalid graphics object, Invalid version of the ICCProfile": "6.2.3: profiles of version 4 (ISO 15076-1)",
}
ALLOWED_SIGNED: Mapping[str, str] = {
    **ALLOWED_AS_DRAWN,
    "5.3.1 : Invalid field value in an annotation definition, widget annotation lacks an appearance dictionary": (
        "6.3.3: none is needed where the place is a point, as of the service's seal"
    ),
    "7.2 : Error on MetaData, Producer present in the document catalog dictionary doesn't match with XMP information": (
        "6.6: metadata need not repeat the document's information, which names both programs that wrote the file"
    ),
}
CONTENTS: Mapping[str, Callable[[], PackageContent]] = {"usual": make_content, "every quantity": judged_content}
_PART_3, _PART_1 = (rb"<pdfaid:part>3<", rb'pdfaid:part="3"'), (rb"<pdfaid:part>1<", rb'pdfaid:part="1"')


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("authority"))


def drawn(content: PackageContent) -> bytes:
    return draw(build_view(content), attachments={})


def both_signed(pdf: bytes, signed: Signed) -> bytes:
    certified = certify(
        pdf, key=signed.key, signed_at=NOW, reason="Package issued", boxes=SIGNATURE_BOXES, page=SIGNING_PAGE
    ).pdf
    return countersign_document(certified, key=signed.key)


def findings(pdf: bytes, folder: Path) -> set[str]:
    """Return what the validator finds in a file that calls itself part 1, each thing once, wherever it stands."""
    for was, becomes in zip(_PART_3, _PART_1, strict=True):
        pdf = pdf.replace(was, becomes)
    file = folder / "twin.pdf"
    file.write_bytes(pdf)
    done = subprocess.run([*require_archive_validator(), str(file)], capture_output=True, text=True, check=False)
    [verdict, *said] = done.stdout.strip().splitlines()
    assert verdict.startswith(("The file twin.pdf is not a valid PDF/A-1b file", "The file twin.pdf is a valid"))
    return {re.sub(r" on page \d+$", "", line.strip()) for line in said if line.strip()}


@pytest.mark.parametrize("name", CONTENTS)
def test_as_drawn_nothing_is_found_that_part_3_forbids(name: str, tmp_path: Path) -> None:
    assert findings(drawn(CONTENTS[name]()), tmp_path) == set(ALLOWED_AS_DRAWN)


def test_signed_by_both_nothing_is_found_that_part_3_forbids(signed: Signed, tmp_path: Path) -> None:
    assert findings(both_signed(drawn(make_content()), signed), tmp_path) == set(ALLOWED_SIGNED)


def test_the_validator_finds_a_font_that_is_not_embedded(tmp_path: Path) -> None:
    broken = drawn(make_content()).replace(b"/FontFile2", b"/FontFileX")
    assert {line for line in findings(broken, tmp_path) if line.startswith("3.1")}


def test_only_the_seal_shows_nowhere_and_every_other_field_has_an_appearance(signed: Signed, tmp_path: Path) -> None:
    file = tmp_path / "package.pdf"
    file.write_bytes(both_signed(drawn(make_content()), signed))
    reader = PdfReader(file)
    on_pages: list[Any] = [reader.pages[0]["/Annots"], reader.pages[SIGNING_PAGE - 1]["/Annots"]]
    fields = [annotation.get_object() for annotations in on_pages for annotation in annotations]
    shown = {field["/T"]: ([float(n) for n in field["/Rect"]], "/AP" in field) for field in fields}
    assert shown.pop("ServiceSeal") == ([0, 0, 0, 0], False)
    assert {has_appearance for _, has_appearance in shown.values()} == {True}
    assert len(shown) == 3


def test_signing_leaves_the_file_what_an_archive_takes_it_for(signed: Signed, tmp_path: Path) -> None:
    file = tmp_path / "package.pdf"
    file.write_bytes(both_signed(drawn(make_content()), signed))
    metadata: Any = PdfReader(file).root_object["/Metadata"].get_object()
    assert "/Filter" not in metadata
    assert b'pdfaid:part="3"' in metadata.get_data()
    assert b'pdfaid:conformance="B"' in metadata.get_data()
