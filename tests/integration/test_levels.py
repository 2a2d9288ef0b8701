"""A package comes out at the level that its criteria ask for, or it does not come out and somebody is told why."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import SecretStr

from service.api.app import create_app
from service.settings import WorkerSettings
from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.signatures import SignatureLevel
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.answering import Answering
from tests.api_server import serve
from tests.factories import make_criteria, make_design
from tests.integration.faults.acts import finished_route, hurry, job_of, one_job, package_file, submission, submit
from tests.world import World, describe_route, make_world, open_project, read_demo
from worker.commands.upkeep import requeue_jobs
from worker.demo.authority.server import serve_time
from worker.demo.authority.throwaway import DemonstrationAuthority, make_demonstration_authority
from worker.sealing.trust_services import authorities_of
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust


@dataclass(frozen=True, kw_only=True)
class Package:
    """A package as the API tells it, and its file."""

    facts: Any
    pdf: bytes


@pytest.fixture
def build(settings: WorkerSettings) -> Iterator[Callable[..., World]]:
    """Make a world whose route is finished, under criteria and settings of the test's."""
    with ExitStack() as parts:

        def make(*, level: str | None = None, **changes: Any) -> World:
            changed = settings.model_copy(update=changes)
            app = create_app(changed)
            world = make_world(changed, parts.enter_context(serve(app)), app)
            parts.callback(world.engine.dispose)
            open_project(world, project=read_demo("project"), people=read_demo("people"))
            criteria = make_criteria() if level is None else make_criteria(signature_level=level)
            describe_route(world, design=make_design(), criteria=criteria)
            world.post_records(finished_route())
            world.drain()
            return world

        yield make


def issue(world: World) -> Package:
    made = submit(world)
    world.drain()
    state = submission(world, made)
    assert state["state"] == "issued", state
    return read(world, state["package_id"])


def read(world: World, package_id: str) -> Package:
    facts = world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{package_id}")
    return Package(facts=facts, pdf=package_file(world, package_id))


def accept(world: World, package: Package) -> Package:
    form = {"package_sha256": package.facts["certified_sha256"], "segments": {"SEG1": "accepted"}}
    path = f"/v1/packages/{package.facts['id']}/decision"
    etag = f'"{package.facts["current_sha256"]}"'
    answer = world.call(TokenKind.ENGINEER, "POST", path, json=form, headers={"If-Match": etag})
    assert answer.is_success, answer.text
    world.drain()
    return read(world, package.facts["id"])


def level_of(world: World, pdf: bytes) -> SignatureLevel | None:
    report = verify(pdf, trust=RoleTrust(service=world.context.trust()), now=datetime.now(UTC))
    assert report.problems == ()
    return report.level


@contextmanager
def authority_that_lists(folder: Path) -> Iterator[tuple[DemonstrationAuthority, str]]:
    """Run an authority whose certificates name its own revocation list."""
    now = datetime.now(UTC)
    # The address is known once there is a server, and the server once there is an authority: the list is served apart.
    listing = Answering(kind="application/pkix-crl")
    with listing.served() as url:
        authority = make_demonstration_authority(folder, now=now, revocation_url=url)
        listing.content = authority.revocation_list(now=now)
        with serve_time(authority) as time_url:
            yield authority, time_url


def test_without_an_authority_packages_are_sealed_without_a_proven_time_and_say_so(
    build: Callable[..., World],
) -> None:
    world = build()
    package = accept(world, issue(world))
    assert (package.facts["certified_level"], package.facts["current_level"]) == ("b_b", "b_b")
    assert level_of(world, package.pdf) is SignatureLevel.B_B


@pytest.mark.parametrize(("asked", "reached"), [(None, "b_t"), ("b_b", "b_b")])
def test_with_an_authority_a_package_reaches_what_was_asked_and_by_default_a_proven_time(
    build: Callable[..., World], authority: DemonstrationAuthority, asked: str | None, reached: str
) -> None:
    with serve_time(authority) as url:
        world = build(level=asked, timestamp_url=SecretStr(url))
        issued = issue(world)
        assert (issued.facts["certified_level"], issued.facts["current_level"]) == (reached, reached)
        package = accept(world, issued)
    assert package.facts["current_level"] == reached
    assert level_of(world, package.pdf) is SignatureLevel(reached)
    told = world.http.get(f"/v1/verifications/{package.facts['verification_code']}")
    assert (told.json()["certified_level"], told.json()["current_level"]) == (reached, reached)
    page = world.http.get(f"/v1/verifications/{package.facts['verification_code']}", headers={"Accept": "text/html"})
    assert page.text.count(f"PAdES {reached.upper().replace('_', '-')}:") == 1


def test_a_package_asked_for_the_archive_is_sealed_and_countersigned_with_all_proofs_inside(
    build: Callable[..., World], tmp_path: Path
) -> None:
    with authority_that_lists(tmp_path / "listing") as (own, url):
        world = build(
            level="b_lta",
            timestamp_url=SecretStr(url),
            signing_pkcs12_file=own.pkcs12_file,
            signing_passphrase_file=own.passphrase_file,
            signing_trust_file=own.root_file,
        )
        package = accept(world, issue(world))
    assert (package.facts["certified_level"], package.facts["current_level"]) == ("b_lta", "b_lta")
    later = datetime.now(UTC) + timedelta(days=500)
    report = verify(package.pdf, trust=RoleTrust(service=[own.root]), now=later)
    assert report.problems == ()
    assert report.level is SignatureLevel.B_LTA


def test_revocation_lists_may_come_from_a_folder(
    build: Callable[..., World], authority: DemonstrationAuthority, tmp_path: Path
) -> None:
    # Nobody is at the address that these certificates name.
    folder = tmp_path / "lists"
    folder.mkdir()
    (folder / "demonstration.crl").write_bytes(authority.revocation_list(now=datetime.now(UTC)))
    with serve_time(authority) as url:
        world = build(level="b_lta", timestamp_url=SecretStr(url), revocation_list_dir=folder)
        assert issue(world).facts["certified_level"] == "b_lta"


@pytest.mark.parametrize("level", ["b_t", "b_lta"])
def test_a_level_that_nothing_can_bring_is_given_up_at_once_and_nothing_lower_is_issued(
    build: Callable[..., World], level: str
) -> None:
    world = build(level=level)
    made = submit(world)
    world.drain()
    state = submission(world, made)
    assert (state["state"], state["package_id"]) == ("parked", None)
    assert "Set TIMESTAMP_URL" in state["problem"]
    assert job_of(world, JobKind.PACKAGE).attempts == 1


def test_an_authority_that_fails_is_waited_for_and_nothing_lower_is_issued_meanwhile(
    build: Callable[..., World], authority: DemonstrationAuthority
) -> None:
    answering = Answering(content=b"busy")
    with answering.served() as url:
        world = build(timestamp_url=SecretStr(url), max_attempts=2)
        made = submit(world)
        # More often than a fault of our own would be tried.
        for asked in range(1, 5):
            world.drain()
            job = job_of(world, JobKind.PACKAGE)
            assert (job.state, job.attempts, job.outage_since is not None) == ("due", 0, True)
            assert len(answering.asked) == asked
            assert submission(world, made)["state"] == "queued"
            hurry(world, JobKind.PACKAGE)
    with serve_time(authority) as url:
        _ask(world, url)
        world.drain()
    assert submission(world, made)["state"] == "issued"
    assert (job_of(world, JobKind.PACKAGE).state, job_of(world, JobKind.PACKAGE).outage_since) == ("done", None)


def test_after_a_day_somebody_is_told_and_the_end_of_the_outage_is_noticed_all_the_same(
    build: Callable[..., World], authority: DemonstrationAuthority
) -> None:
    with Answering(content=b"busy").served() as url:
        world = build(timestamp_url=SecretStr(url))
        made = submit(world)
        world.drain()
        _age_outage(world, hours=25)
        world.drain()
    state = submission(world, made)
    assert (state["state"], state["package_id"]) == ("parked", None)
    assert "is no time stamp" in state["problem"]
    assert job_of(world, JobKind.PACKAGE).state == "waiting"
    with serve_time(authority) as url:
        _ask(world, url)
        assert world.drain() == 0
        _age_outage(world, hours=2)
        world.drain()
    assert submission(world, made)["state"] == "issued"


def test_a_package_that_waited_is_not_made_once_another_has_taken_its_place(
    build: Callable[..., World], authority: DemonstrationAuthority
) -> None:
    with Answering(content=b"busy").served() as url:
        world = build(timestamp_url=SecretStr(url))
        first = submit(world)
        world.drain()
        _age_outage(world, hours=25)
        world.drain()
    job_id = job_of(world, JobKind.PACKAGE).id
    with serve_time(authority) as url:
        _ask(world, url)
        second = submit(world)
        with transaction(world.engine) as session:
            [(_, refusal)] = requeue_jobs(session)
        assert "Submission 2 of segment SEG1 has taken the place" in (refusal or "")
        world.drain()
        # Also when it looks by itself.
        with transaction(world.engine) as session:
            session.get_one(Job, job_id).due_at -= timedelta(hours=2)
        world.drain()
    assert submission(world, second)["state"] == "issued"
    state = submission(world, first)
    assert (state["state"], state["package_id"]) == ("parked", None)
    assert "has taken the place of this one" in state["problem"]
    with transaction(world.engine) as session:
        assert session.get_one(Job, job_id).state == "parked"


def test_a_submission_given_up_for_a_fault_of_ours_is_made_by_requeue_once_that_is_mended(
    build: Callable[..., World],
) -> None:
    world = build(level="b_t")
    made = submit(world)
    world.drain()
    assert submission(world, made)["state"] == "parked"
    with transaction(world.engine) as session:
        [(_, refusal)] = requeue_jobs(session)
    assert refusal is None
    world.drain()
    # Nothing was mended, and it says so again.
    assert "Set TIMESTAMP_URL" in submission(world, made)["problem"]


@pytest.mark.parametrize("error", [timedelta(minutes=-3), timedelta(minutes=3)], ids=["behind", "ahead"])
def test_nothing_is_issued_where_the_time_authority_states_another_time(
    build: Callable[..., World], authority: DemonstrationAuthority, error: timedelta
) -> None:
    with serve_time(authority, clock=lambda: datetime.now(UTC) + error) as url:
        world = build(timestamp_url=SecretStr(url))
        made = submit(world)
        world.drain()
    assert submission(world, made)["state"] == "queued"
    job = job_of(world, JobKind.PACKAGE)
    assert (job.attempts, "clock" in (job.last_error or "")) == (0, True)


def test_an_authority_nobody_trusts_leaves_nothing_issued(build: Callable[..., World], tmp_path: Path) -> None:
    strange = make_demonstration_authority(tmp_path / "strange", now=datetime.now(UTC))
    with serve_time(strange) as url:
        world = build(timestamp_url=SecretStr(url))
        made = submit(world)
        world.drain()
    assert submission(world, made)["state"] == "queued"
    assert "vouches for" in (job_of(world, JobKind.PACKAGE).last_error or "")


def test_an_authority_with_a_root_of_its_own_is_trusted_for_the_time_alone(
    build: Callable[..., World], tmp_path: Path
) -> None:
    other = make_demonstration_authority(tmp_path / "time", now=datetime.now(UTC))
    with serve_time(other) as url:
        world = build(timestamp_url=SecretStr(url), timestamp_trust_file=other.root_file)
        package = accept(world, issue(world))
    assert package.facts["current_level"] == "b_t"
    signers, now = world.context.trust(), datetime.now(UTC)
    assert verify(package.pdf, trust=RoleTrust(service=signers, time=[other.root]), now=now).is_sound
    assert not verify(package.pdf, trust=RoleTrust(service=signers), now=now).is_sound


def test_a_countersignature_waits_for_the_time_as_the_seal_does(
    build: Callable[..., World], authority: DemonstrationAuthority
) -> None:
    with serve_time(authority) as url:
        world = build(timestamp_url=SecretStr(url))
        issued = issue(world)
    decided = accept(world, issued)
    assert (decided.facts["signatures"], decided.facts["awaited_signatures"]) == ([], ["decision"])
    assert decided.facts["decision"] is not None
    assert decided.pdf == issued.pdf
    assert job_of(world, JobKind.COUNTERSIGN).state == "due"


def _ask(world: World, url: str) -> None:
    """Ask another for the time from now on, as after a restart with other settings."""
    settings = world.settings.model_copy(update={"timestamp_url": SecretStr(url)})
    world.context = replace(world.context, settings=settings, authorities=lambda: authorities_of(settings))


def _age_outage(world: World, *, hours: float) -> None:
    """Let time pass for the package's job, which something outside keeps waiting."""
    with transaction(world.engine) as session:
        job = one_job(session, JobKind.PACKAGE)
        assert job.outage_since is not None
        job.outage_since -= timedelta(hours=hours)
        job.due_at -= timedelta(hours=hours)
