"""A package signed by a tool that shares no code with us is taken: PDFBox writes the file, openssl the signature."""

import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from service.vocabulary.signatures import SignedBy
from tests.outside_tools import leave_out, require_tool
from tests.signed_forms import Cast, judge, make_cast, make_package
from worker.signing.fields import DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.report import State

PROGRAM = Path(__file__).parents[1] / "outside" / "SignWithPdfBox.java"
JARS = [Path(f"/usr/share/java/{name}.jar") for name in ("pdfbox2", "fontbox2", "commons-logging")]


def sign_with_pdfbox(pdf: bytes, *, cast: Cast, folder: Path) -> bytes:
    """Sign as the engineer."""
    java, openssl = require_tool("java"), require_tool("openssl")
    modules = subprocess.run([java, "--list-modules"], capture_output=True, text=True, check=True, timeout=60).stdout
    if "jdk.compiler" not in modules or not all(jar.exists() for jar in JARS):
        leave_out("Java with its compiler and libpdfbox2-java are not installed: no other tool signed a package")
    key = cast.engineer.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    files = {"in.pdf": pdf, "key.pem": key, "certificate.pem": cast.engineer.pem.encode()}
    for name, content in files.items():
        (folder / name).write_bytes(content)
    signing = [openssl, "cms", "-sign", "-binary", "-cades", "-outform", "DER", "-md", "sha256"]
    signing += ["-signer", str(folder / "certificate.pem"), "-inkey", str(folder / "key.pem")]
    writing = [java, "-cp", ":".join(map(str, JARS)), str(PROGRAM), str(folder / "in.pdf"), str(folder / "out.pdf")]
    subprocess.run([*writing, ENGINEER_FIELD, *signing], check=True, capture_output=True, timeout=120)
    return (folder / "out.pdf").read_bytes()


@pytest.fixture(scope="module")
def cast() -> Cast:
    return make_cast()


@pytest.fixture(scope="module")
def decided(cast: Cast) -> bytes:
    return make_package({SEAL_FIELD: cast.service, DECISION_FIELD: cast.service}, contractor_signs=False)


def test_what_pdfbox_and_openssl_signed_is_complete(cast: Cast, decided: bytes, tmp_path: Path) -> None:
    signed = sign_with_pdfbox(decided, cast=cast, folder=tmp_path)
    assert signed.startswith(decided)
    report = judge(signed, cast.trust())
    assert (report.problems, report.state) == ((), State.COMPLETE)
    engineer = report.signatures[-1]
    assert (engineer.field, engineer.signed_by) == (ENGINEER_FIELD, SignedBy.OWN_KEY)
    assert engineer.level == "PAdES B-B"
