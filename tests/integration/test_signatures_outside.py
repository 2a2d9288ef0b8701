"""Programs that share no code with our signer find the signatures good, and the key well kept."""

import os
import re
import subprocess
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import pytest
from pyhanko.pdf_utils.reader import PdfFileReader

from tests.outside_tools import require_tool
from tests.signed_documents import ELAPSED, FINDINGS, Signed, flip_bit, make_signed, swap_first_page_text
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust

TODAY = datetime.now(UTC).replace(microsecond=0)

# pdfsig lists signatures by field, not by time of signing, with the reserved field nobody signed among them.
SIGNATURE_HEADING = re.compile(r"^Signature #\d+:", re.MULTILINE)


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    # Programs from outside read the machine's clock, so these certificates are valid today.
    return make_signed(tmp_path_factory.mktemp("authority"), now=TODAY)


@pytest.fixture(scope="module")
def trust_store(signed: Signed, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a store of trusted certificates with the authority's root in it."""
    certutil = require_tool("certutil")
    store = tmp_path_factory.mktemp("nss")
    run(certutil, "-N", "-d", f"sql:{store}", "--empty-password")
    run(certutil, "-A", "-d", f"sql:{store}", "-n", "root", "-t", "CT,C,C", "-i", str(signed.authority.root_file))
    return store


def run(*command: str) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout


def ask_pdfsig(pdf: bytes, *, trust_store: Path, folder: Path) -> list[str]:
    """Return what pdfsig says of each signature; its exit code is 0 for broken ones too, so nobody asks it."""
    file = folder / "document.pdf"
    file.write_bytes(pdf)
    # With -no-ocsp it calls the second signature by one certificate an unknown issue (22.12, tried).
    command = [require_tool("pdfsig"), "-nssdir", str(trust_store), str(file)]
    # It prints times in the machine's zone.
    environment = {**os.environ, "TZ": "UTC"}
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60, env=environment)
    return SIGNATURE_HEADING.split(done.stdout)[1:]


def test_pdfsig_finds_the_seal_valid_and_trusted(signed: Signed, trust_store: Path, tmp_path: Path) -> None:
    said = [s for s in ask_pdfsig(signed.certified, trust_store=trust_store, folder=tmp_path) if "not signed" not in s]
    [seal] = said
    assert "Signature is Valid." in seal
    assert "Certificate is Trusted." in seal
    assert "Signature Type: ETSI.CAdES.detached" in seal
    assert "Total document signed" in seal
    assert f"Signing Time: {TODAY - ELAPSED:%b %d %Y %H:%M:%S}" in seal


def test_pdfsig_finds_both_signatures_valid_and_trusted(signed: Signed, trust_store: Path, tmp_path: Path) -> None:
    said = ask_pdfsig(signed.countersigned, trust_store=trust_store, folder=tmp_path)
    by_people = [s for s in said if "not signed" not in s]
    assert len(by_people) == 2
    assert all("Signature is Valid." in s and "Certificate is Trusted." in s for s in by_people)
    assert sum("Total document signed" in s for s in by_people) == 1
    assert len(said) == 4


def test_pdfsig_sees_a_changed_figure_as_we_do(signed: Signed, trust_store: Path, tmp_path: Path) -> None:
    position = signed.certified.index(b"/Producer") + 1
    changed = flip_bit(signed.certified, position=position, bit=0)
    said = ask_pdfsig(changed, trust_store=trust_store, folder=tmp_path)
    assert any("Digest Mismatch" in s for s in said)
    assert not verify(changed, trust=RoleTrust(service=signed.trust), now=TODAY).is_sound


def test_a_swapped_page_passes_pdfsig_but_not_us(signed: Signed, trust_store: Path, tmp_path: Path) -> None:
    forged = swap_first_page_text(signed.countersigned)
    said = ask_pdfsig(forged, trust_store=trust_store, folder=tmp_path)
    assert sum("Signature is Valid." in s for s in said) == 2
    assert not any("Total document signed" in s for s in said)
    assert not verify(forged, trust=RoleTrust(service=signed.trust), now=TODAY).is_sound


def signatures_of(pdf_file: Path) -> list[tuple[list[int], bytes]]:
    """Return the byte range and the CMS structure of each signature."""
    with pdf_file.open("rb") as stream:
        signatures = PdfFileReader(stream).embedded_signatures
        return [([int(n) for n in s.byte_range], bytes(s.pkcs7_content)) for s in signatures]


def ask_openssl(covered: bytes, cms: bytes, *, signed: Signed, folder: Path) -> subprocess.CompletedProcess[str]:
    content, signature = folder / "covered.bin", folder / "signature.der"
    content.write_bytes(covered)
    signature.write_bytes(cms)
    command = [
        *(require_tool("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-cades"),
        *("-in", str(signature), "-content", str(content), "-CAfile", str(signed.authority.root_file)),
        *("-out", str(folder / "out.bin")),
    ]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)


@pytest.mark.parametrize("number", [0, 1])
def test_openssl_verifies_each_signature_over_its_bytes_and_no_others(
    signed: Signed, tmp_path: Path, number: int
) -> None:
    file = tmp_path / "document.pdf"
    file.write_bytes(signed.countersigned)
    signatures = signatures_of(file)
    assert len(signatures) == 2
    (start, length, second_start, second_length), cms = signatures[number]
    pdf = signed.countersigned
    covered = pdf[start : start + length] + pdf[second_start : second_start + second_length]
    assert "Verification successful" in ask_openssl(covered, cms, signed=signed, folder=tmp_path).stderr
    refused = ask_openssl(covered + b"x", cms, signed=signed, folder=tmp_path)
    assert "Verification successful" not in refused.stderr
    assert refused.returncode != 0


def test_openssl_finds_the_key_kept_with_many_rounds_and_a_strong_cipher(signed: Signed) -> None:
    authority = signed.authority
    command = [require_tool("openssl"), "pkcs12", "-info", "-noout", "-in", str(authority.pkcs12_file)]
    command += ["-passin", f"file:{authority.passphrase_file}"]
    said = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stderr
    assert "Shrouded Keybag: PBES2, PBKDF2, AES-256-CBC, Iteration 600000, PRF hmacWithSHA256" in said
    assert "MAC: sha256" in said


def test_qpdf_finds_no_fault_in_the_file_and_the_attachment_whole(signed: Signed, tmp_path: Path) -> None:
    qpdf = require_tool("qpdf")
    file = tmp_path / "document.pdf"
    file.write_bytes(signed.countersigned)
    assert "No syntax or stream encoding errors found" in run(qpdf, "--check", str(file))
    shown = subprocess.run(
        [qpdf, "--show-attachment=findings.json", str(file)], capture_output=True, check=True, timeout=60
    )
    assert sha256(shown.stdout).hexdigest() == sha256(FINDINGS).hexdigest()


def test_every_font_of_the_stamped_document_is_embedded(signed: Signed, tmp_path: Path) -> None:
    file = tmp_path / "document.pdf"
    file.write_bytes(signed.countersigned)
    fonts = run(require_tool("pdffonts"), str(file)).splitlines()[2:]
    assert fonts
    # Columns from the right: object and generation, unicode, subset, embedded.
    assert all(line.split()[-5] == "yes" for line in fonts)


def test_the_stamp_is_seen_on_the_page(signed: Signed, tmp_path: Path) -> None:
    file, picture = tmp_path / "document.pdf", tmp_path / "page"
    pixels = []
    for pdf in (signed.certified, signed.countersigned):
        file.write_bytes(pdf)
        # The box of the decision at 72 dpi: one pixel a point, counted from the top of an A4 page, 842 points high.
        run(
            *(require_tool("pdftoppm"), "-r", "72", "-l", "1", "-gray", "-singlefile"),
            *("-x", "50", "-y", "442", "-W", "470", "-H", "200", str(file), str(picture)),
        )
        pixels.append(picture.with_suffix(".pgm").read_bytes().split(b"\n255\n", 1)[1])
    blank, stamped = pixels
    assert set(blank) == {255}
    assert sum(pixel < 128 for pixel in stamped) > 200
