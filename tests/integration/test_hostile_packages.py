"""The command that judges a package gives an answer to a hostile file, in time, and takes no more than its share."""

import json
import os
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.hostile_files import HOSTILE, NAMED, Base
from tests.measured import Measured, measure
from tests.signed_documents import Signed, attach, make_signed
from tests.signing_people import sign_among_lookalikes
from worker.commands.limited import TOO_MUCH
from worker.signing.fields import ENGINEER_FIELD

ROOT = Path(__file__).parents[2]
# What the requirement asks, where an ordinary package takes less than 2 s. By the computing and not by the clock, and
# beside what an ordinary package takes: a busy or slow machine's time is not the file's.
AT_MOST_S, AT_MOST_MB = 10.0, 512.0
# Within which a file is ended that never would, and the second after it.
LIMIT_S = 5 + 1
OTHERS = ["an attachment of a gigabyte"]


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("hostile") / "authority", now=datetime.now(UTC))


@pytest.fixture(scope="module")
def ordinary_s(signed: Signed, tmp_path_factory: pytest.TempPathFactory) -> float:
    """What judging an ordinary package takes here, in seconds of computing, most of it for loading the program."""
    return verify(signed, signed.countersigned, tmp_path_factory.mktemp("ordinary"), "--without-pages").cpu_s


def verify(signed: Signed, pdf: bytes, folder: Path, *options: str) -> Measured:
    file = folder / "package.pdf"
    file.write_bytes(pdf)
    command = [sys.executable, "-m", "worker.commands.main", "verify", str(file), *options]
    return measure([*command, "--trust", str(signed.authority.root_file)], folder=ROOT)


@pytest.mark.parametrize("name", [*NAMED, *OTHERS])
def test_a_hostile_file_is_refused_in_time_and_within_memory(
    signed: Signed, ordinary_s: float, tmp_path: Path, name: str
) -> None:
    found = verify(signed, HOSTILE[name](Base.of(signed.countersigned)), tmp_path)
    assert found.code == 1
    assert "\n  problem   The file has " in found.out or "\n  problem   The file nests " in found.out
    assert "Traceback" not in found.out + found.err
    assert found.memory_mb <= AT_MOST_MB
    assert found.cpu_s <= 2 * ordinary_s


def test_a_file_larger_than_any_package_is_not_read(signed: Signed, tmp_path: Path) -> None:
    file = tmp_path / "large.pdf"
    with file.open("wb") as stream:
        stream.write(b"%PDF-1.7\n")
        os.truncate(stream.fileno(), 1 << 30)
    command = [sys.executable, "-m", "worker.commands.main", "verify", str(file), "--json"]
    found = measure([*command, "--trust", str(signed.authority.root_file)], folder=ROOT)
    assert found.code == 1
    assert json.loads(found.out)["problems"] == ["The file has more than 67,108,864 bytes, which no package has."]
    assert found.memory_mb <= AT_MOST_MB


@pytest.mark.parametrize("kind", ["lookalikes", "large data"])
def test_what_ends_by_its_limits_is_said_as_the_rest_is(
    signed: Signed, ordinary_s: float, tmp_path: Path, kind: str
) -> None:
    if kind == "lookalikes":
        pdf = sign_among_lookalikes(signed.certified, field=ENGINEER_FIELD)
    else:
        # 30 MB in 30 kB, which ask for a gigabyte when they are read as JSON.
        text = b'{"fibres":[' + b"[0.5]," * 5_000_000 + b"0]}"
        pdf = attach(signed.countersigned, name="package.json", content=text)
    found = verify(signed, pdf, tmp_path, "--json")
    assert (found.code, json.loads(found.out)["problems"]) == (1, [TOO_MUCH])
    assert found.memory_mb <= AT_MOST_MB
    assert found.cpu_s <= 2 * ordinary_s + LIMIT_S


def test_hostile_uploads_are_refused_in_time_and_within_memory(signed: Signed, tmp_path: Path) -> None:
    base = Base.of(signed.certified)
    (tmp_path / "current.pdf").write_bytes(signed.certified)
    for name, make in NAMED.items():
        (tmp_path / f"{name}.hostile").write_bytes(make(base))
    found = measure([sys.executable, "-m", "tests.upload_check", str(tmp_path)], folder=ROOT)
    took = json.loads(found.out)
    assert took.keys() == NAMED.keys()
    assert all(one["problem"].startswith("What was added to the package ") for one in took.values())
    assert max(one["cpu_s"] for one in took.values()) <= AT_MOST_S
    assert found.memory_mb <= AT_MOST_MB


def test_a_package_that_comes_through_a_pipe_is_judged_as_well(signed: Signed, tmp_path: Path) -> None:
    file = tmp_path / "package.pdf"
    file.write_bytes(signed.countersigned)
    command = f"{sys.executable} -m worker.commands.main verify <(cat {file}) --without-pages --json"
    found = measure(["bash", "-c", f"{command} --trust {signed.authority.root_file}"], folder=ROOT)
    assert len(json.loads(found.out)["signatures"]) == 2


def test_a_good_package_is_judged_as_before(signed: Signed, tmp_path: Path) -> None:
    found = verify(signed, signed.countersigned, tmp_path, "--without-pages", "--json")
    report = json.loads(found.out)
    assert [one["is_intact"] for one in report["signatures"]] == [True, True]
    assert report["problems"] == ["The attached data cannot be read: package.json: it is not attached."]
