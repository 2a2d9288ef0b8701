"""A signed file under way while its package changes, its worker is overtaken, or its bytes are lost."""

from typing import Any
from uuid import UUID

import httpx
import orjson
import pytest
from sqlmodel import select

from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import register_certificate, send_in
from tests.integration.faults.acts import expire, finished_route, hurry, job_of, package_file, submission, submit
from tests.integration.faults.pausing import before_write
from tests.signing_people import Signatory, make_signatory, sign_as
from tests.world import World
from worker.jobs.runner import run_job
from worker.signing.check.verify import verify
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD
from worker.signing.trust.certificates import Trusted
from worker.signing.trust.role_trust import RoleTrust
from worker.steps import check_upload, countersign
from worker.tasks import STEPS

CONTRACTOR, ENGINEER = TokenKind.CONTRACTOR, TokenKind.ENGINEER
FIELDS = {"contractor": CONTRACTOR_FIELD, "engineer": ENGINEER_FIELD}
SEALED = ("decision", "service_seal")
OVERTAKEN = "The package has another file by now, with another signature in it: sign that one."


@pytest.fixture
def keys(world: World) -> dict[str, Signatory]:
    """Keys of contractor and engineer, for a package that the contractor signs with its own."""
    signatories = {"contractor": make_signatory("Contractor"), "engineer": make_signatory("Engineer")}
    for role, person in (("contractor", "p-1c9"), ("engineer", "p-9e6")):
        register_certificate(world, person, signatories[role])
    world.post_records(finished_route())
    world.drain()
    made = submit(world, signature="own_key")
    world.drain()
    assert submission(world, made)["state"] == "issued"
    return signatories


def package_of(world: World) -> Any:
    return world.ask(ENGINEER, "GET", f"/v1/packages/{world.status()['segments'][0]['package_id']}")


def send(world: World, role: str, signatory: Signatory) -> httpx.Response:
    """Sign the package as it is now and send it in."""
    package = package_of(world)
    signed = sign_as(signatory, package_file(world, package["id"]), field=FIELDS[role])
    sent = send_in(world, package, role, signed)
    assert sent.status_code == 202, sent.text
    return sent


def decide(world: World, signature: str) -> None:
    package = package_of(world)
    form = {
        "package_sha256": package["certified_sha256"],
        "segments": {"SEG1": "accepted"},
        "signature": signature,
    }
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    world.ask(ENGINEER, "POST", f"/v1/packages/{package['id']}/decision", json=form, headers=headers)


def upload_of(world: World, sent: httpx.Response) -> Any:
    return world.ask(ENGINEER, "GET", sent.headers["Location"])


def job_about(world: World, sent: httpx.Response) -> UUID:
    """Return the job that checks a file which was sent in."""
    with transaction(world.engine) as session:
        return session.exec(select(Job.id).where(Job.subject_id == UUID(sent.json()["id"]))).one()


def check(world: World, sent: httpx.Response) -> None:
    run_job(world.context, STEPS[JobKind.CHECK_UPLOAD], job_about(world, sent))


def signatures(world: World) -> list[tuple[str, str]]:
    return [(one["role"], one["by"]) for one in package_of(world)["signatures"]]


def is_good(world: World, keys: dict[str, Signatory]) -> bool:
    people: dict[str, list[Trusted]] = {role: [one.certificate] for role, one in keys.items()}
    trust = RoleTrust(service=world.context.trust(), **people)
    return verify(package_file(world, package_of(world)["id"]), trust=trust, now=world.context.clock()).is_sound


def audited(world: World) -> list[str]:
    with world.engine.connect() as connection:
        entries = connection.exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    return [orjson.loads(one)["action"] for one in entries]


def test_a_seal_that_a_signature_overtakes_is_made_anew_behind_it(
    world: World, keys: dict[str, Signatory], monkeypatch: pytest.MonkeyPatch
) -> None:
    decide(world, "service_seal")
    sent = send(world, "contractor", keys["contractor"])
    before_write(monkeypatch, countersign, lambda: check(world, sent))
    run_job(world.context, STEPS[JobKind.COUNTERSIGN], job_of(world, JobKind.COUNTERSIGN).id)
    assert signatures(world) == [("contractor", "own_key")]
    world.drain()
    assert signatures(world) == [("contractor", "own_key"), ("decision", "service_seal")]
    assert is_good(world, keys)
    uses = ["package.signed", "package.seal_overtaken", "package.sealed"]
    assert [one for one in audited(world) if one in uses] == uses


def test_of_two_files_that_are_checked_at_once_the_second_to_be_written_is_told_to_sign_anew(
    world: World, keys: dict[str, Signatory], monkeypatch: pytest.MonkeyPatch
) -> None:
    decide(world, "own_key")
    world.drain()
    first, second = (send(world, role, keys[role]) for role in ("contractor", "engineer"))
    before_write(monkeypatch, check_upload, lambda: check(world, second))
    check(world, first)
    assert (upload_of(world, second)["state"], signatures(world)) == ("taken", [SEALED, ("engineer", "own_key")])
    assert (upload_of(world, first)["state"], upload_of(world, first)["problems"]) == ("refused", [OVERTAKEN])


def test_a_worker_that_was_taken_for_dead_takes_nothing_a_second_time(
    world: World, keys: dict[str, Signatory], monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = send(world, "contractor", keys["contractor"])

    def take_over() -> None:
        expire(world, JobKind.CHECK_UPLOAD)
        check(world, sent)

    before_write(monkeypatch, check_upload, take_over)
    check(world, sent)
    assert signatures(world) == [("contractor", "own_key")]
    assert audited(world).count("signature.taken") == 1


def test_a_signature_that_the_decisions_seal_overtakes_is_to_be_made_anew(
    world: World, keys: dict[str, Signatory], monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = send(world, "contractor", keys["contractor"])
    decide(world, "service_seal")
    seal = job_of(world, JobKind.COUNTERSIGN).id
    before_write(monkeypatch, check_upload, lambda: run_job(world.context, STEPS[JobKind.COUNTERSIGN], seal))
    check(world, sent)
    assert (upload_of(world, sent)["state"], upload_of(world, sent)["problems"]) == ("refused", [OVERTAKEN])
    assert signatures(world) == [SEALED]
    again = send(world, "contractor", keys["contractor"])
    check(world, again)
    assert (upload_of(world, again)["state"], is_good(world, keys)) == ("taken", True)


def test_a_decision_that_could_not_be_sealed_is_not_signed(world: World, keys: dict[str, Signatory]) -> None:
    decide(world, "own_key")
    with world.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE job SET state = 'parked' WHERE kind = 'countersign'")
    package = package_of(world)
    assert package["awaited_signatures"] == ["contractor", "decision"]
    early = sign_as(keys["engineer"], package_file(world, package["id"]), field=ENGINEER_FIELD)
    answer = send_in(world, package, "engineer", early)
    assert (answer.status_code, "not sealed into the package yet" in answer.json()["detail"]) == (409, True)


def test_a_file_that_can_not_be_checked_is_refused_in_the_end_and_taken_when_it_comes_again(
    world: World, keys: dict[str, Signatory]
) -> None:
    package = package_of(world)
    signed = sign_as(keys["contractor"], package_file(world, package["id"]), field=CONTRACTOR_FIELD)
    sent = send_in(world, package, "contractor", signed)
    sha256 = sent.json()["file_sha256"]
    (world.settings.blob_dir / sha256[:2] / sha256).unlink()
    check(world, sent)
    assert upload_of(world, sent)["state"] == "checking"
    for _ in range(world.settings.max_attempts - 1):
        hurry(world, JobKind.CHECK_UPLOAD)
        check(world, sent)
    upload = upload_of(world, sent)
    assert upload["state"] == "refused"
    assert upload["problems"][0].startswith("The file could not be checked: BlobMissingError")
    assert send_in(world, package, "contractor", signed).json()["id"] == upload["id"]
    world.drain()
    assert upload_of(world, sent)["state"] == "taken"
