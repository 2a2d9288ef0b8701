"""The command line as people and service managers use it."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.outside_tools import require_tool
from tests.signed_documents import swap_first_page_text

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "worker.commands.main"]
BARE = {
    name: value
    for name, value in os.environ.items()
    if not name.endswith(("DATABASE_URL", "REDIS_URL")) and not name.startswith(("SIGNING_", "BLOB_"))
}


def run(
    *arguments: str, folder: Path = ROOT, settings: dict[str, str] | None = None
) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [*COMMAND, *arguments],
        cwd=folder,
        env={**BARE, "PYTHONPATH": str(ROOT), "COLUMNS": "80", **(settings or {})},
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Play the demo once and return the folder it was run in."""
    folder = tmp_path_factory.mktemp("demo")
    ran = run("demo", folder=folder)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return folder


@pytest.mark.parametrize(
    "command",
    [
        "demo",
        "serve",
        "migrate",
        "api",
        "relay",
        "worker",
        "reader",
        "token",
        "verify",
        "parked",
        "requeue",
        "audit verify",
        "check",
    ],
)
def test_every_command_explains_itself(command: str) -> None:
    ran = run(*command.split(), "--help")
    assert ran.returncode == 0
    # More than the usage line and the options that every command has.
    assert len(ran.stdout.splitlines()) > 8


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["api"], ["DATABASE_URL", "BLOB_DIR"]),
        (["relay"], ["DATABASE_URL", "REDIS_URL", "BLOB_DIR"]),
        (["worker"], ["DATABASE_URL", "REDIS_URL", "BLOB_DIR"]),
        (["migrate"], ["DATABASE_URL"]),
        (["token", "crew"], ["DATABASE_URL"]),
    ],
)
def test_a_missing_setting_is_named_without_a_trace(arguments: list[str], named: list[str]) -> None:
    ran = run(*arguments)
    assert ran.returncode == 2
    assert [name for name in named if name not in ran.stderr] == []
    assert "Traceback" not in ran.stderr


def test_a_worker_without_a_key_does_not_start_and_says_what_to_set(tmp_path: Path) -> None:
    settings = {
        "DATABASE_URL": "postgresql+psycopg://nobody@/none",
        "REDIS_URL": "redis://none",
        "BLOB_DIR": str(tmp_path),
    }
    ran = run("worker", settings=settings)
    assert ran.returncode == 2
    assert "SIGNING_PKCS12_FILE" in ran.stderr and "Traceback" not in ran.stderr
    absent = {"SIGNING_PKCS12_FILE": str(tmp_path / "key"), "SIGNING_PASSPHRASE_FILE": str(tmp_path / "phrase")}
    ran = run("worker", settings={**settings, **absent})
    assert ran.returncode == 2
    assert str(tmp_path / "key") in ran.stderr and "Traceback" not in ran.stderr


def test_the_demo_leaves_two_packages_that_verify_and_two_notices(demo_folder: Path) -> None:
    output = demo_folder / "demo_output"
    notices = json.loads((output / "notices.json").read_bytes())
    assert [notice["data"]["segment_id"] for notice in notices] == ["west", "east"]
    assert {one["status"] for one in json.loads((output / "status.json").read_bytes())["segments"]} == {"accepted"}
    for package, segment in (("package_OT-07_1.pdf", "west"), ("package_OT-07_2.pdf", "east")):
        report = _verify(output, package)
        assert (report["is_good"], report["state"], report["awaited"]) == (True, "complete", [])
        fields = ["ServiceSeal", "DecisionSeal", *(["OwnerEngineer"] if segment == "east" else [])]
        assert [one["field"] for one in report["signatures"]] == fields
        # The service's seals hold a stamp each; over the engineer's own signature the service had one made.
        assert len(report["timestamps"]) == (segment == "east")
        assert {one["level"] for one in report["signatures"]} == {"PAdES B-T"}
        [notice] = [one for one in notices if one["data"]["segment_id"] == segment]
        assert notice["data"]["package_sha256"] == report["certified_sha256"]


def test_pdfsig_finds_all_signatures_of_the_demos_packages_valid(demo_folder: Path, tmp_path: Path) -> None:
    store = f"sql:{tmp_path}"
    root = demo_folder / "demo_output" / "demonstration_root.pem"
    certutil, pdfsig = require_tool("certutil"), require_tool("pdfsig")
    subprocess.run([certutil, "-N", "-d", store, "--empty-password"], check=True)
    subprocess.run([certutil, "-A", "-d", store, "-n", "root", "-t", "CT,C,C", "-i", root], check=True)
    for package in sorted((demo_folder / "demo_output").glob("package_*.pdf")):
        said = subprocess.run(
            [pdfsig, "-nssdir", tmp_path, package], capture_output=True, text=True, check=False
        ).stdout
        is_second = package.stem.endswith("2")
        assert said.count("Signature is Valid.") == (3 if is_second else 2), said
        # A time stamp over the document follows the engineer's own signature: of that kind it says nothing.
        assert said.count("Signature Field Name: Timestamp-") == is_second
        assert said.count("Signature has not yet been verified.") == is_second
        # The engineer's own key signed by a certificate that is its own issuer: pdfsig takes none of these as trusted.
        # Of one certificate that signed twice it trusts the first it comes to, once signatures carry time stamps: with
        # two certificates it trusts both (22.12, tried).
        assert said.count("Certificate issuer is unknown.") == is_second, said
        assert said.count("Certificate is Trusted.") >= 1, said


def test_a_package_with_one_changed_byte_does_not_verify(demo_folder: Path, tmp_path: Path) -> None:
    output = demo_folder / "demo_output"
    content = bytearray((output / "package_OT-07_2.pdf").read_bytes())
    content[len(content) // 3] ^= 1
    (tmp_path / "changed.pdf").write_bytes(content)
    ran = run("verify", str(tmp_path / "changed.pdf"), "--trust", str(output / "demonstration_root.pem"))
    assert ran.returncode == 1
    assert "changed.pdf: BAD" in ran.stdout


def test_the_demos_pages_are_what_their_data_give_and_a_changed_one_is_named(demo_folder: Path, tmp_path: Path) -> None:
    output = demo_folder / "demo_output"
    trust = ("--trust", str(output / "demonstration_root.pem"))
    for package in ("package_OT-07_1.pdf", "package_OT-07_2.pdf"):
        data = _verify(output, package)["data"]
        assert (data["pages"], data["pages_differing"]) == ("as_drawn", 0)
        assert data["page_count"] > 10
    forged = tmp_path / "forged.pdf"
    forged.write_bytes(swap_first_page_text((output / "package_OT-07_2.pdf").read_bytes()))
    ran = run("verify", str(forged), *trust)
    assert ran.returncode == 1
    assert "Page 1 is not what the attached data give; of " in ran.stdout
    said = json.loads(run("verify", str(forged), *trust, "--json").stdout)
    assert (said["is_good"], said["data"]["pages"], said["data"]["first_page_differing"]) == (False, "other", 1)
    assert [one for one in said["problems"] if f"  problem   {one}" not in ran.stdout.splitlines()] == []
    without = json.loads(run("verify", str(forged), *trust, "--without-pages", "--json").stdout)
    assert without["data"]["pages"] == "not_compared"


def test_a_persons_certificate_vouches_in_no_other_role(demo_folder: Path) -> None:
    output = demo_folder / "demo_output"
    root, engineer = str(output / "demonstration_root.pem"), str(output / "demonstration_engineer.pem")
    for trust in (
        ("--trust", root),
        ("--trust", root, "--trust", engineer),
        ("--trust", root, "--trust-contractor", engineer),
        ("--trust", engineer, "--trust-engineer", engineer),
    ):
        ran = run("verify", str(output / "package_OT-07_2.pdf"), *trust, "--without-pages", "--json")
        assert (ran.returncode, json.loads(ran.stdout)["state"]) == (1, "bad")


def test_a_package_cut_back_is_awaited_and_bad_where_it_is_required(demo_folder: Path, tmp_path: Path) -> None:
    output, cut = demo_folder / "demo_output", tmp_path / "cut.pdf"
    content = (output / "package_OT-07_2.pdf").read_bytes()
    # The engineer's own signature, and the time stamp over it.
    end = [match.end() for match in re.finditer(rb"%%EOF\s*", content)][-3]
    cut.write_bytes(content[:end])
    ran = run("verify", str(cut), *_trust(output), "--without-pages", "--json")
    said = json.loads(ran.stdout)
    assert (ran.returncode, said["state"], said["awaited"]) == (3, "awaiting", ["engineer"]), said["problems"]
    ran = run("verify", str(cut), *_trust(output), "--without-pages", "--require", "engineer", "--json")
    assert ran.returncode == 1
    assert json.loads(ran.stdout)["problems"] == ["Required and missing: the signature of the owner's engineer."]
    # What somebody left to the service's seal is there with that.
    whole = str(output / "package_OT-07_1.pdf")
    ran = run("verify", whole, *_trust(output), "--without-pages", "--require", "contractor,decision,engineer")
    assert ran.returncode == 0, ran.stdout
    ran = run("verify", str(cut), *_trust(output), "--without-pages", "--require", "pages")
    assert (ran.returncode, "that the pages are compared" in ran.stdout) == (1, True)
    ran = run("verify", str(cut), *_trust(output), "--require", "owner")
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == "'owner' cannot be required: contractor, decision, engineer, pages can.\n"


@pytest.mark.parametrize(
    "address", ["http://[", "ftp://x", "localhost:8080", "http://", "", "http://x:99999", "http://a b"]
)
def test_an_address_that_is_none_is_one_line(demo_folder: Path, address: str) -> None:
    output = demo_folder / "demo_output"
    package, trust = str(output / "package_OT-07_2.pdf"), str(output / "demonstration_root.pem")
    ran = run("verify", package, "--trust", trust, "--server", address)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == f"{address!r} is not the address of a service, such as https://acceptance.example.\n"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "cannot be read: No such file or directory."),
        ("folder", "cannot be read: Is a directory."),
        (b"", "is empty."),
        (b"PK\x03\x04 and more", "is not a PDF."),
    ],
)
def test_what_is_no_file_to_judge_is_one_line(
    demo_folder: Path, tmp_path: Path, content: bytes | str | None, said: str
) -> None:
    trust, file = str(demo_folder / "demo_output" / "demonstration_root.pem"), tmp_path / "package.pdf"
    if isinstance(content, bytes):
        file.write_bytes(content)
    elif content is not None:
        file.mkdir()
    ran = run("verify", str(file), "--trust", trust)
    assert (ran.returncode, ran.stdout, ran.stderr) == (2, "", f"{file} {said}\n")
    ran = run("verify", str(file), "--trust", trust, "--json")
    assert (ran.returncode, json.loads(ran.stdout)) == (2, {"is_good": False, "problems": [f"{file} {said}"]})


def test_a_damaged_file_is_one_problem(demo_folder: Path, tmp_path: Path) -> None:
    output, file = demo_folder / "demo_output", tmp_path / "cut.pdf"
    file.write_bytes((output / "package_OT-07_2.pdf").read_bytes()[:3000])
    ran = run("verify", str(file), "--trust", str(output / "demonstration_root.pem"))
    assert ran.returncode == 1
    assert ran.stdout.count("  problem   ") == 1
    assert ran.stderr == ""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=lambda number: number.name)
def test_a_demo_that_is_ended_leaves_no_process_and_no_folder(number: signal.Signals, tmp_path: Path) -> None:
    environment = {**BARE, "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path)}
    tmp_path.chmod(0o755)
    with subprocess.Popen(
        [*COMMAND, "demo"], cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as demo:
        assert demo.stdout is not None
        for line in demo.stdout:
            if "acknowledges them" in line:
                break
        family = _descendants(demo.pid)
        assert len(family) >= 5
        demo.send_signal(number)
        demo.stdout.read()
    give_up_at = time.monotonic() + 30
    while left := [pid for pid in family if _is_alive(pid)]:
        assert time.monotonic() < give_up_at, left
        time.sleep(0.1)
    while list(tmp_path.glob("route-acceptance-*")):
        assert time.monotonic() < give_up_at, list(tmp_path.iterdir())
        time.sleep(0.1)


def _verify(output: Path, package: str) -> Any:
    ran = run("verify", str(output / package), *_trust(output), "--json")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return json.loads(ran.stdout)


def _trust(output: Path) -> list[str]:
    root, engineer = output / "demonstration_root.pem", output / "demonstration_engineer.pem"
    return ["--trust", str(root), "--trust-engineer", str(engineer)]


def _descendants(pid: int) -> list[int]:
    own = [int(entry.name) for entry in Path("/proc").glob("[0-9]*") if _parent_of(int(entry.name)) == pid]
    return own + [one for child in own for one in _descendants(child)]


def _parent_of(pid: int) -> int | None:
    stat = _stat(pid)
    return None if stat is None else int(stat[1])


def _is_alive(pid: int) -> bool:
    stat = _stat(pid)
    return stat is not None and stat[0] != "Z"


def _stat(pid: int) -> list[str] | None:
    """Return a process's state, parent and the rest, as the kernel tells them; None once it is gone."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return None
    return stat.rpartition(")")[2].split()
