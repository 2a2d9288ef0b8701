"""Files made to exhaust the workers are refused over HTTP; who reads them may be stopped or killed at any moment."""

import os
import signal
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service.vocabulary.words import TokenKind
from tests.conftest import Servers
from tests.factories import make_splice
from tests.hostile_files import HOSTILE, NAMED, Base
from tests.integration.api.acts import register_certificate, send_in
from tests.integration.faults.acts import finished_route, package_file, submission, submit
from tests.integration.faults.processes import Part, wait_until
from tests.signing_people import Signatory, make_signatory, sign_as
from tests.world import World
from worker.limits.process import Limits, run_limited
from worker.sealing import foreign_files as foreign
from worker.sealing.foreign_files import TOO_MUCH
from worker.signing.fields import CONTRACTOR_FIELD

pytestmark = pytest.mark.timeout(240)
CONTRACTOR, ENGINEER = TokenKind.CONTRACTOR, TokenKind.ENGINEER


@pytest.fixture
def contractor(world: World) -> Signatory:
    """Issue a package that waits for the contractor's own signature, and return the key for it."""
    contractor = make_signatory("Contractor")
    register_certificate(world, "p-1c9", contractor)
    world.post_records(finished_route())
    world.drain()
    made = submit(world, signature="own_key")
    world.drain()
    assert submission(world, made)["state"] == "issued"
    return contractor


@pytest.fixture
def readers(world: World, contractor: Signatory, servers: Servers, tmp_path: Path) -> Iterator[list[Part]]:
    """Run a relay, a worker, and two parts that read what others made."""
    servers.redis.start()
    with ExitStack() as ended:
        for name in ("relay", "worker"):
            ended.enter_context(Part(name, world.settings, tmp_path / f"{name}.log"))
        yield [ended.enter_context(Part("reader", world.settings, tmp_path / f"reader{n}.log")) for n in range(2)]


def package_of(world: World) -> Any:
    return world.ask(ENGINEER, "GET", f"/v1/packages/{world.status()['segments'][0]['package_id']}")


def send(world: World, pdf: bytes) -> httpx.Response:
    sent = send_in(world, package_of(world), "contractor", pdf)
    assert sent.status_code == 202, sent.text
    return sent


def upload(world: World, sent: httpx.Response) -> Any:
    return world.ask(CONTRACTOR, "GET", sent.headers["Location"])


def signed_by(signatory: Signatory, world: World) -> bytes:
    return sign_as(signatory, package_file(world, package_of(world)["id"]), field=CONTRACTOR_FIELD)


def reading_of(part: Part) -> list[int]:
    """Return the processes within limits that a part has started, however far below it."""
    return [pid for pid in _descendants(part.pid) if b"worker.limits\0" in _read(f"/proc/{pid}/cmdline")]


def _descendants(pid: int) -> Iterator[int]:
    for child in _read(f"/proc/{pid}/task/{pid}/children").split():
        yield int(child)
        yield from _descendants(int(child))


def _read(file: str) -> bytes:
    try:
        return Path(file).read_bytes()
    # It may end while it is looked at.
    except OSError:
        return b""


def stop_reading(readers: list[Part]) -> tuple[Part, int]:
    """Wait until something is read within limits, stop that in its course, and return whose it is."""
    found: list[tuple[Part, int]] = []

    def look() -> bool:
        found.extend((part, pid) for part in readers if part.is_running for pid in reading_of(part))
        return bool(found)

    wait_until(look, every_s=0.005)
    os.kill(found[0][1], signal.SIGSTOP)
    return found[0]


def test_each_named_hostile_file_is_refused_and_a_signature_is_taken_after_them(
    world: World, contractor: Signatory
) -> None:
    base = Base.of(package_file(world, package_of(world)["id"]))
    sent = [send(world, HOSTILE[name](base)) for name in NAMED]
    world.drain()
    for one in sent:
        found = upload(world, one)
        assert found["state"] == "refused"
        [problem] = found["problems"]
        assert problem.startswith("What was added to the package ")
    good = send(world, signed_by(contractor, world))
    world.drain()
    assert upload(world, good)["state"] == "taken"


def test_records_are_judged_while_a_file_is_read_and_a_killed_reader_means_another_attempt(
    world: World, contractor: Signatory, readers: list[Part]
) -> None:
    sent = send(world, signed_by(contractor, world))
    _, reading = stop_reading(readers)
    world.post_records([make_splice(id=str(uuid4()))])
    wait_until(lambda: bool(world.status()["is_judged"]))
    assert upload(world, sent)["state"] == "checking"
    # It may be gone already, with the part that saw it hang.
    with suppress(ProcessLookupError):
        os.kill(reading, signal.SIGKILL)
    # The next attempt is made by a process of its own; the part that started it dies.
    part, reading = stop_reading(readers)
    part.kill()
    # If it had not come so far as to tell the kernel to end it with its parent, it sees now that there is none.
    with suppress(ProcessLookupError):
        os.kill(reading, signal.SIGCONT)
    wait_until(lambda: _read(f"/proc/{reading}/cmdline") == b"", within_s=20)
    wait_until(lambda: upload(world, sent)["state"] == "taken")


def test_a_file_that_takes_too_long_is_refused_at_the_first_attempt(
    world: World, contractor: Signatory, monkeypatch: pytest.MonkeyPatch
) -> None:
    def compute(_: str, **__: object) -> Any:
        limits = Limits(memory_bytes=200 << 20, cpu_s=1, time_s=30)
        return run_limited("tests.limited_works:compute", question=None, limits=limits)

    monkeypatch.setattr(foreign, "run_limited", compute)
    sent = send(world, signed_by(contractor, world))
    assert world.drain() == 1
    assert (upload(world, sent)["state"], upload(world, sent)["problems"]) == ("refused", [TOO_MUCH])
