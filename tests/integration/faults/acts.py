"""What tests of faults do and look at again and again."""

from typing import Any

import httpx
from sqlmodel import Session, select

from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.factories import finished_fibre
from tests.world import World

FIBRES = 12


def finished_route() -> list[dict[str, Any]]:
    """Return everything that the factories' route needs to conform, each record once."""
    records = [record for fibre in range(1, FIBRES + 1) for record in finished_fibre(fibre=fibre)]
    return list({record["id"]: record for record in records}.values())


def submit(world: World, *, verdict_digest: str | None = None, signature: str = "service_seal") -> httpx.Response:
    """Ask for a package of the whole route, on the strength of the current verdict or of another."""
    digest = {} if verdict_digest is None else {"verdict_digest": verdict_digest}
    return world.submit(signature=signature, **digest)


def submission(world: World, made: httpx.Response) -> Any:
    """Return a submission as it is now."""
    assert made.status_code == httpx.codes.ACCEPTED, made.text
    return world.ask(TokenKind.CONTRACTOR, "GET", made.headers["Location"])


def package_file(world: World, package_id: str) -> bytes:
    """Return a package's file."""
    answer = world.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{package_id}/pdf")
    assert answer.is_success, answer.text
    return answer.content


def job_of(world: World, kind: JobKind) -> Job:
    """Return the only job of its kind."""
    with transaction(world.engine) as session:
        return one_job(session, kind)


def one_job(session: Session, kind: JobKind) -> Job:
    """Return the only job of its kind, to be changed."""
    return session.exec(select(Job).where(Job.kind == kind.value)).one()


def expire(world: World, kind: JobKind) -> None:
    """Let the lease of a job run out."""
    with transaction(world.engine) as session:
        job = one_job(session, kind)
        assert job.leased_until is not None
        job.leased_until = job.leased_until.replace(year=2000)


def hurry(world: World, kind: JobKind) -> None:
    """Let the time pass that a job put back has to wait."""
    with transaction(world.engine) as session:
        job = one_job(session, kind)
        assert job.state == "due"
        job.due_at = job.due_at.replace(year=2000)
