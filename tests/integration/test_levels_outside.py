"""Programs that share no code with our signer find time stamps good over exactly what they are about."""

import re
import subprocess
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import EmbeddedPdfSignature
from pyhanko.sign.validation.generic_cms import extract_tst_data_iter

from service.vocabulary.signatures import SignatureLevel
from tests.outside_tools import require_tool
from tests.signed_documents import Signed, certify_document, make_authorities, make_signed
from worker.signing.check.verify import verify
from worker.signing.make.sealing import Sealing
from worker.signing.trust.role_trust import RoleTrust

# Programs from outside read the machine's clock.
TODAY = datetime.now(UTC).replace(microsecond=0)
# Each signature with its time stamp, and the time stamp over the document that follows it.
SIGNATURES = ("ServiceSeal", "DecisionSeal")


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("authority"), now=TODAY, level=SignatureLevel.B_LTA)


@dataclass(frozen=True, kw_only=True)
class Stamp:
    """A token, and the bytes that it is about."""

    token: bytes
    about: bytes


def entries_of(signed: Signed) -> list[EmbeddedPdfSignature]:
    return list(PdfFileReader(BytesIO(signed.countersigned)).embedded_signatures)


def covered_by(entry: EmbeddedPdfSignature, pdf: bytes) -> bytes:
    start, length, second_start, second_length = (int(number) for number in entry.byte_range)
    return pdf[start : start + length] + pdf[second_start : second_start + second_length]


def stamps_of(signed: Signed) -> dict[str, Stamp]:
    """Return every time stamp in the document, under the name of what it is about."""
    found: dict[str, Stamp] = {}
    for number, entry in enumerate(entries_of(signed)):
        if str(entry.sig_object_type) == "/DocTimeStamp":
            token = bytes(entry.pkcs7_content)
            found[f"document {number}"] = Stamp(token=token, about=covered_by(entry, signed.countersigned))
            continue
        [of_signature] = extract_tst_data_iter(entry.signer_info, signed=False)
        wrapped = b"".join(
            attribute["values"][0].dump()
            for attribute in entry.signer_info["unsigned_attrs"]
            if attribute["type"].native == "signature_time_stamp_token"
        )
        assert of_signature.dump() in wrapped
        found[str(entry.field_name)] = Stamp(token=wrapped, about=entry.signer_info["signature"].native)
    return found


def ask_openssl_ts(stamp: Stamp, *, root: Path, folder: Path) -> str:
    """Return what openssl says on its standard output; its exit code is nobody's proof."""
    token, about = folder / "token.der", folder / "about.bin"
    token.write_bytes(stamp.token)
    about.write_bytes(stamp.about)
    command = [require_tool("openssl"), "ts", "-verify", "-token_in", "-in", str(token), "-data", str(about)]
    return subprocess.run(
        [*command, "-CAfile", str(root)], capture_output=True, text=True, check=False, timeout=60
    ).stdout


@pytest.mark.parametrize("name", [*SIGNATURES, "document 1", "document 3"])
def test_openssl_verifies_each_time_stamp_over_its_bytes_and_no_others(
    signed: Signed, tmp_path: Path, name: str
) -> None:
    stamp, root = stamps_of(signed)[name], signed.authority.root_file
    assert "Verification: OK" in ask_openssl_ts(stamp, root=root, folder=tmp_path)
    longer = replace(stamp, about=stamp.about + b"x")
    assert "Verification: FAILED" in ask_openssl_ts(longer, root=root, folder=tmp_path)


def test_openssl_trusts_no_time_stamp_of_another_authority(signed: Signed, tmp_path: Path) -> None:
    other = make_signed(tmp_path / "other", now=TODAY)
    for stamp in stamps_of(signed).values():
        said = ask_openssl_ts(stamp, root=other.authority.root_file, folder=tmp_path)
        assert "Verification: FAILED" in said


@pytest.mark.parametrize("number", [0, 2])
def test_openssl_verifies_each_signature_of_an_archive(signed: Signed, tmp_path: Path, number: int) -> None:
    entry = entries_of(signed)[number]
    content, cms = tmp_path / "covered.bin", tmp_path / "signature.der"
    content.write_bytes(covered_by(entry, signed.countersigned))
    cms.write_bytes(bytes(entry.pkcs7_content))
    command = [
        *(require_tool("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-cades"),
        *("-in", str(cms), "-content", str(content), "-CAfile", str(signed.authority.root_file)),
        *("-out", str(tmp_path / "out.bin")),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert "Verification successful" in done.stderr


@pytest.mark.parametrize("level", [SignatureLevel.B_T, SignatureLevel.B_LTA])
def test_pdfsig_finds_the_signatures_of_each_level_valid_and_the_seal_trusted(
    tmp_path: Path, level: SignatureLevel
) -> None:
    signed = make_signed(tmp_path / "authority", now=TODAY, level=level)
    store = tmp_path / "nss"
    store.mkdir()
    certutil = require_tool("certutil")
    for arguments in (("-N", "--empty-password"), ("-A", "-n", "root", "-t", "CT,C,C", "-i")):
        file = (str(signed.authority.root_file),) if "-A" in arguments else ()
        subprocess.run([certutil, "-d", f"sql:{store}", *arguments, *file], check=True, timeout=60)
    said = {}
    for name, pdf in (("certified", signed.certified), ("countersigned", signed.countersigned)):
        file_name = tmp_path / f"{name}.pdf"
        file_name.write_bytes(pdf)
        command = [require_tool("pdfsig"), "-nssdir", str(store), str(file_name)]
        said[name] = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60).stdout
    assert said["certified"].count("Signature is Valid.") == 1
    assert said["certified"].count("Certificate is Trusted.") == 1
    assert said["countersigned"].count("Signature is Valid.") == 2
    # It knows of time stamps over the document, and cannot check them (22.12).
    assert said["countersigned"].count("Signature has not yet been verified.") == (
        2 if level is SignatureLevel.B_LTA else 0
    )


def test_qpdf_finds_no_fault_in_an_archive(signed: Signed, tmp_path: Path) -> None:
    file = tmp_path / "document.pdf"
    file.write_bytes(signed.countersigned)
    done = subprocess.run(
        [require_tool("qpdf"), "--check", str(file)], capture_output=True, text=True, check=False, timeout=60
    )
    assert "No syntax or stream encoding errors found" in done.stdout


CONFIGURATION = """
[tsa]
default_tsa = outside
[outside]
serial = {folder}/serial
crypto_device = builtin
signer_cert = {folder}/time.pem
certs = {folder}/root.pem
signer_key = {folder}/time.key
signer_digest = sha256
default_policy = 2.999.1
digests = sha256
accuracy = secs:1
tsa_name = yes
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


def test_a_time_stamp_made_by_openssl_is_taken_and_the_package_reaches_its_level(
    signed: Signed, tmp_path: Path
) -> None:
    authority = signed.authority
    (tmp_path / "time.pem").write_bytes(authority.time_certificate.public_bytes(Encoding.PEM))
    (tmp_path / "root.pem").write_bytes(authority.root.public_bytes(Encoding.PEM))
    private = authority.time_key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    (tmp_path / "time.key").write_bytes(private)
    (tmp_path / "serial").write_text("01\n")
    (tmp_path / "tsa.cnf").write_text(CONFIGURATION.format(folder=tmp_path))

    def ask_time(request: bytes) -> bytes:
        query, answer = tmp_path / "query.tsq", tmp_path / "answer.tsr"
        query.write_bytes(request)
        command = [require_tool("openssl"), "ts", "-reply", "-config", str(tmp_path / "tsa.cnf")]
        subprocess.run(
            [*command, "-queryfile", str(query), "-out", str(answer)], check=True, capture_output=True, timeout=60
        )
        return answer.read_bytes()

    now = datetime.now(UTC)
    authorities = replace(make_authorities(authority, now=now), ask_time=ask_time)
    for level in (SignatureLevel.B_T, SignatureLevel.B_LTA):
        sealing = Sealing(level=level, authorities=authorities)
        sealed = certify_document(signed.unsigned, key=signed.key, signed_at=now, sealing=sealing)
        report = verify(sealed, trust=RoleTrust(service=signed.trust), now=datetime.now(UTC))
        assert report.problems == ()
        assert report.level is level


def test_the_level_is_in_the_file_for_whoever_looks(signed: Signed) -> None:
    # ISO 32000-2 (from memory): the store of proofs, and the sub-filter of time stamps over the document.
    assert len(re.findall(rb"/Type\s*/DocTimeStamp", signed.countersigned)) == 2
    assert len(re.findall(rb"/SubFilter\s*/ETSI\.RFC3161", signed.countersigned)) == 2
    assert b"/DSS" in signed.certified
