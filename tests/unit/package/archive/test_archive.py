"""The structure that PDF/A-3b asks for, from memory of ISO 19005-3; other programs read what ours has drawn."""

import re
import struct
import subprocess
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.outside_tools import require_tool
from tests.package_factories import make_content
from tests.package_reading import draw_content
from worker.package.data.attachments import attachments
from worker.package.data.content import PackageContent


def content() -> PackageContent:
    """Return a package of which names hold letters of other alphabets, and signs that markup escapes."""
    return make_content(
        responsible_person="Ωμέγα Škoda", responsible_position="εργοδηγός", contractor="Larkfield <&> Wörks"
    )


@pytest.fixture(scope="module")
def package() -> bytes:
    return draw_content(content())


@pytest.fixture
def package_file(package: bytes, tmp_path: Path) -> Path:
    file = tmp_path / "package.pdf"
    file.write_bytes(package)
    return file


@pytest.fixture(scope="module")
def catalog(package: bytes) -> Any:
    return PdfReader(BytesIO(package)).root_object


def test_the_attachments_come_back_byte_for_byte(package: bytes) -> None:
    found = {name: files[0] for name, files in PdfReader(BytesIO(package)).attachments.items()}
    assert found == attachments(content())


def test_each_attachment_is_associated_data_of_a_stated_type(catalog: Any) -> None:
    files = [entry.get_object() for entry in catalog["/AF"].get_object()]
    names = [f"{name}.json" for name in ("criteria", "design", "findings", "package", "records")]
    assert [file["/UF"] for file in files] == names
    for file in files:
        stream = file["/EF"]["/F"].get_object()
        assert file["/AFRelationship"] == "/Data"
        assert stream["/Subtype"] == "/application/json"
        assert stream["/Params"]["/ModDate"] == "D:20260320150405+00'00'"


def test_another_program_finds_every_font_embedded_as_a_subset(package_file: Path) -> None:
    fonts = [line.split() for line in _run_on(package_file, "pdffonts").splitlines()[2:]]
    assert len(fonts) >= 3
    # name, type, encoding, then whether it is embedded, a subset, and mapped to Unicode.
    assert [line for line in fonts if line[-5:-2] != ["yes", "yes", "yes"]] == []


def test_every_font_is_embedded_with_the_widths_that_the_document_states(package: bytes) -> None:
    fonts = {font["/BaseFont"]: font for font in _fonts(package)}
    assert len(fonts) >= 3
    for name, font in fonts.items():
        held = _widths_in(font["/FontDescriptor"]["/FontFile2"].get_data())
        stated = {code: round(float(width)) for code, width in enumerate(font["/Widths"], start=font["/FirstChar"])}
        used = set(re.findall(r"^<(..)> <", font["/ToUnicode"].get_data().decode(), re.MULTILINE))
        assert len(used) > 15
        assert {code: held[int(code, 16)] for code in used} == {code: stated[int(code, 16)] for code in used}, name


def _widths_in(program: bytes) -> dict[int, int]:
    """Return each code's width in thousandths of an em, by the font's own tables (ISO/IEC 14496-22, from memory)."""
    tables = {}
    for index in range(int.from_bytes(program[4:6], "big")):
        tag, _, offset, length = struct.unpack_from(">4sLLL", program, 12 + 16 * index)
        tables[tag] = program[offset : offset + length]
    [em], [full] = struct.unpack_from(">H", tables[b"head"], 18), struct.unpack_from(">H", tables[b"hhea"], 34)
    advances = [struct.unpack_from(">H", tables[b"hmtx"], 4 * index)[0] for index in range(full)]
    [offset] = struct.unpack_from(">L", tables[b"cmap"], 8)
    form, _, _, first, count = struct.unpack_from(">5H", tables[b"cmap"], offset)
    assert form == 6
    glyphs = struct.unpack_from(f">{count}H", tables[b"cmap"], offset + 10)
    # The glyphs past the full metrics are as wide as the last of them.
    return {first + at: round(advances[min(glyph, full - 1)] * 1000 / em) for at, glyph in enumerate(glyphs)}


def test_no_used_character_is_mapped_to_nothing(package: bytes) -> None:
    for font in _fonts(package):
        mapped = font["/ToUnicode"].get_data().decode()
        assert "beginbfchar" in mapped
        assert "<0000>" not in mapped


def test_the_metadata_say_the_part_and_the_same_as_the_information(package: bytes) -> None:
    reader = PdfReader(BytesIO(package))
    metadata, information = reader.xmp_metadata, reader.metadata
    assert metadata is not None
    assert information is not None
    assert metadata.dc_title == {"x-default": "Acceptance package HBR-7/2"} == {"x-default": information.title}
    assert metadata.dc_creator == ["Larkfield <&> Wörks"] == [information.author]
    assert metadata.dc_description == {"x-default": information.subject}
    assert metadata.pdf_keywords == information.keywords == "HBR-7/2"
    assert metadata.pdf_producer == information.producer
    assert information.creation_date_raw == information.modification_date_raw == "D:20260320150405+00'00'"
    assert b"<pdfaid:part>3</pdfaid:part>" in package
    assert b"<pdfaid:conformance>B</pdfaid:conformance>" in package


def test_the_metadata_can_be_read_without_a_decoder(catalog: Any) -> None:
    assert "/Filter" not in catalog["/Metadata"]


def test_the_output_intent_holds_an_rgb_profile(catalog: Any) -> None:
    [intent] = catalog["/OutputIntents"]
    profile = intent["/DestOutputProfile"].get_object()
    header = profile.get_data()[:40]
    assert intent["/S"] == "/GTS_PDFA1"
    assert profile["/N"] == 3
    # Header fields by ICC.1 (from memory): class at 12, colour space at 16, signature at 36.
    assert (header[12:16], header[16:20], header[36:40]) == (b"mntr", b"RGB ", b"acsp")


def test_each_stream_ends_on_a_line_of_its_own(package: bytes) -> None:
    ends = [match.start() for match in re.finditer(rb"endstream", package)]
    assert len(ends) > 10
    assert all(package[end - 1 : end] == b"\n" for end in ends)


def test_the_file_has_an_identifier(package: bytes) -> None:
    identifier: Any = PdfReader(BytesIO(package)).trailer["/ID"]
    first, second = identifier
    assert len(first.original_bytes) == len(second.original_bytes) == 16


@pytest.mark.parametrize("forbidden", [b"/Encrypt", b"/JavaScript", b"/Launch", b"/Helvetica", b"/URI"])
def test_nothing_an_archive_refuses_is_inside(package: bytes, forbidden: bytes) -> None:
    assert forbidden not in package


def test_an_independent_reader_finds_no_fault(package_file: Path) -> None:
    assert "No syntax or stream encoding errors" in _run_on(package_file, "qpdf", "--check")


def test_another_program_reads_the_text_that_was_drawn(package_file: Path) -> None:
    text = _run_on(package_file, "pdftotext", then=["-"])
    assert "Ωμέγα Škoda" in text
    assert "Larkfield <&> Wörks" in text


def _fonts(package: bytes) -> list[Any]:
    pages: list[Any] = [*PdfReader(BytesIO(package)).pages]
    return [font for page in pages for font in page["/Resources"]["/Font"].values()]


def _run_on(file: Path, tool: str, *arguments: str, then: Sequence[str] = ()) -> str:
    """Return what another program says of a file, in which it finds no fault."""
    command = [require_tool(tool), *arguments, str(file), *then]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
