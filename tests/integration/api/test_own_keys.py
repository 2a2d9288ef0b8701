"""A package goes out, is signed with a person's own key, and comes back as its current file, or is refused with why."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import httpx
import orjson
import pytest
from pydantic import SecretStr
from sqlalchemy import update
from sqlmodel import col

from service.settings import MAX_SIGNATURE_BYTES
from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.words import TokenKind
from tests.answering import nobody
from tests.integration.api.acts import (
    decide,
    let_hold,
    newest_package,
    refusal,
    register_certificate,
    send_in,
    submit,
)
from tests.integration.api.conftest import OpenWorld
from tests.signing_people import Signatory, make_signatory, sign_as
from tests.world import World
from worker.demo.authority.server import serve_time
from worker.demo.authority.throwaway import DemonstrationAuthority
from worker.sealing.foreign_files import check_in_limits
from worker.sealing.trust_services import authorities_of
from worker.signing.check.verify import verify
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.trust.role_trust import RoleTrust

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
FIELDS = {"contractor": CONTRACTOR_FIELD, "engineer": ENGINEER_FIELD}
PERSONS = {"contractor": "p-1c9", "engineer": "p-9e6"}
OVERTAKEN = "The package has another file by now, with another signature in it: sign that one."


@pytest.fixture
def world(fresh_world: OpenWorld) -> World:
    """A package that the engineer decided, and is to sign now that the decision is sealed."""
    return decided_by_own_key(fresh_world("issued"))


def decided_by_own_key(world: World) -> World:
    assert decide(world, signature="own_key").is_success
    world.drain()
    return world


@pytest.fixture
def engineer(world: World) -> Signatory:
    return known(world, "engineer")


def known(world: World, role: str) -> Signatory:
    """Return somebody whose certificate is registered for the person of a role."""
    signatory = make_signatory(f"Holder of the {role}'s card")
    register_certificate(world, PERSONS[role], signatory)
    return signatory


def file_of(world: World, package: Any) -> bytes:
    pdf: bytes = world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").content
    return pdf


def sign(world: World, package: Any, role: str, signatory: Signatory) -> bytes:
    """Sign a package's current file in a role's place."""
    return sign_as(signatory, file_of(world, package), field=FIELDS[role])


def outcome(world: World, sent: httpx.Response) -> Any:
    """Return what came of a signed file once everything due is done."""
    assert sent.status_code == 202, sent.text
    world.drain()
    return world.ask(ENGINEER, "GET", sent.headers["Location"])


def upload(world: World, role: str, signatory: Signatory) -> Any:
    """Sign the newest package as it is now, send it in, and return what came of it."""
    package = newest_package(world)
    return outcome(world, send_in(world, package, role, sign(world, package, role, signatory)))


def deeds(world: World) -> list[tuple[str, str | None]]:
    with world.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT entry FROM audit_entry ORDER BY sequence").scalars().all()
    return [(one["action"], one.get("content_sha256")) for one in map(orjson.loads, rows)]


def test_an_engineer_signs_the_sealed_decision(world: World, engineer: Signatory) -> None:
    came = upload(world, "engineer", engineer)
    assert (came["state"], came["problems"], came["signer"]) == ("taken", [], "p-9e6")
    package = newest_package(world)
    signature = package["signatures"][-1]
    assert (signature["role"], signature["by"], signature["signer"]) == ("engineer", "own_key", "p-9e6")
    assert signature["certificate_sha256"] == engineer.fingerprint
    assert signature["file_sha256"] == package["current_sha256"] == came["file_sha256"]
    assert package["awaited_signatures"] == []
    report = verify(
        file_of(world, package),
        trust=RoleTrust(service=world.context.trust(), engineer=[engineer.certificate]),
        now=world.context.clock(),
    )
    assert (report.problems, report.signed_fields) == ((), (SEAL_FIELD, DECISION_FIELD, ENGINEER_FIELD))
    assert report.certified_sha256 == package["certified_sha256"]


def test_a_receiver_who_does_not_know_the_engineer_trusts_the_others_only(world: World, engineer: Signatory) -> None:
    upload(world, "engineer", engineer)
    report = verify(
        file_of(world, newest_package(world)), trust=RoleTrust(service=world.context.trust()), now=world.context.clock()
    )
    assert [one.is_trusted for one in report.signatures] == [True, True, False]


def test_nobody_signs_a_decision_that_is_not_made_or_not_sealed_yet(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    package, engineer = newest_package(world), known(world, "engineer")
    early = sign(world, package, "engineer", engineer)
    assert "decide with own_key first" in refusal(send_in(world, package, "engineer", early), 409)["detail"]
    assert decide(world, signature="own_key").is_success
    assert "not sealed into the package yet" in refusal(send_in(world, package, "engineer", early), 409)["detail"]
    world.drain()
    # What was signed before the seal is not what is to be signed now.
    refusal(send_in(world, package, "engineer", early), 412)
    assert upload(world, "engineer", engineer)["state"] == "taken"


def test_who_has_signed_signs_once(world: World, engineer: Signatory) -> None:
    assert upload(world, "engineer", engineer)["state"] == "taken"
    problem = refusal(send_in(world, newest_package(world), "engineer", b"%PDF-1.7"), 409)
    assert problem["detail"] == "This place on the package is signed already."


def test_another_engineer_sends_in_only_the_signature_of_the_one_who_decided(world: World, engineer: Signatory) -> None:
    other = make_signatory("Holder of another card")
    form = {"kind": "engineer", "projects": [world.project_id], "holder": "p-other"}
    world.tokens[ENGINEER] = world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    came = upload(world, "engineer", other)
    assert (came["state"], came["signer"]) == ("refused", "p-9e6")
    assert upload(world, "engineer", engineer)["state"] == "taken"


def test_the_seal_follows_the_contractors_own_signature(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    contractor = known(world, "contractor")
    submit(world, signature="own_key")
    world.drain()
    assert upload(world, "contractor", contractor)["state"] == "taken"
    retire(world, "contractor", contractor)
    assert decide(world).is_success
    world.drain()
    package = newest_package(world)
    assert [(one["role"], one["by"]) for one in package["signatures"]] == [
        ("contractor", "own_key"),
        ("decision", "service_seal"),
    ]
    report = verify(
        file_of(world, package),
        trust=RoleTrust(service=world.context.trust(), contractor=[contractor.certificate]),
        now=world.context.clock(),
    )
    assert report.problems == ()


@pytest.mark.parametrize("order", [["contractor", "engineer"], ["engineer", "contractor"]], ids=str)
def test_both_sign_with_keys_of_their_own_in_either_order(fresh_world: OpenWorld, order: list[str]) -> None:
    world = fresh_world("judged")
    keys = {role: known(world, role) for role in order}
    submit(world, signature="own_key")
    world.drain()
    decided_by_own_key(world)
    assert set(newest_package(world)["awaited_signatures"]) == set(order)
    for role in order:
        came = upload(world, role, keys[role])
        assert came["state"] == "taken", came
    package = newest_package(world)
    assert [one["role"] for one in package["signatures"]] == ["decision", *order]
    assert package["awaited_signatures"] == []


def retire(world: World, role: str, signatory: Signatory) -> None:
    path = f"/v1/projects/{world.project_id}/people/{PERSONS[role]}/certificates/{signatory.fingerprint}"
    world.ask(ADMINISTRATOR, "DELETE", path)


def test_what_is_refused_says_why_and_changes_nothing(world: World, engineer: Signatory) -> None:
    before = newest_package(world)
    pdf = file_of(world, before)
    stranger, elsewhere = make_signatory(), sign_as(engineer, sign_as_nobody(pdf), field=ENGINEER_FIELD)
    for sent, said in (
        (b"no PDF at all", "does not begin with the package's current file"),
        (pdf, "0 were"),
        (sign_as(stranger, pdf, field=ENGINEER_FIELD), stranger.fingerprint),
        (sign(world, before, "engineer", engineer) + b"\n", "after the last signature"),
        (elsewhere, "2 were"),
    ):
        came = outcome(world, send_in(world, before, "engineer", sent))
        assert (came["state"], said in " ".join(came["problems"])) == ("refused", True), came
    after = newest_package(world)
    assert after == before
    assert "signature.taken" not in dict(deeds(world))


def sign_as_nobody(pdf: bytes) -> bytes:
    return sign_as(make_signatory("Nobody"), pdf, field="Margin", is_new_field=True)


def test_a_retired_certificate_signs_no_more(world: World, engineer: Signatory) -> None:
    retire(world, "engineer", engineer)
    came = upload(world, "engineer", engineer)
    assert came["state"] == "refused"
    assert "was retired" in came["problems"][0]


def test_a_certificate_retired_while_the_file_was_looked_at_is_not_taken(
    world: World, engineer: Signatory, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = newest_package(world)
    sent = send_in(world, package, "engineer", sign(world, package, "engineer", engineer))

    def retire_and_check(*what: Any, **how: Any) -> Any:
        retire(world, "engineer", engineer)
        return check_in_limits(*what, **how)

    monkeypatch.setattr("worker.steps.check_upload.check_in_limits", retire_and_check)
    assert outcome(world, sent)["problems"] == ["The certificate that signed was retired."]


def test_a_certificate_of_another_person_does_not_sign(world: World) -> None:
    contractor = known(world, "contractor")
    assert "is not registered for the person" in upload(world, "engineer", contractor)["problems"][0]


def test_the_same_file_again_is_the_same_upload(world: World, engineer: Signatory) -> None:
    package = newest_package(world)
    pdf = sign(world, package, "engineer", engineer)
    first = send_in(world, package, "engineer", pdf)
    assert send_in(world, package, "engineer", pdf).json() == first.json()
    taken = outcome(world, first)
    # Even under the tag of the file that was signed, which is not the current one any more.
    again = send_in(world, package, "engineer", pdf)
    assert (again.status_code, again.json()) == (202, taken)
    assert deeds(world).count(("signature.sent_in", taken["file_sha256"])) == 1


def test_a_refused_file_is_looked_at_again_when_the_certificate_is_registered(world: World) -> None:
    late = make_signatory("Holder of a new card")
    package = newest_package(world)
    pdf = sign(world, package, "engineer", late)
    refused = outcome(world, send_in(world, package, "engineer", pdf))
    assert refused["state"] == "refused"
    register_certificate(world, "p-9e6", late)
    taken = outcome(world, send_in(world, package, "engineer", pdf))
    assert (taken["id"], taken["state"], taken["problems"]) == (refused["id"], "taken", [])


def test_of_two_signed_files_one_is_taken_and_the_other_told_why(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    contractor, engineer = known(world, "contractor"), known(world, "engineer")
    submit(world, signature="own_key")
    world.drain()
    package = newest_package(decided_by_own_key(world))
    sent = [
        send_in(world, package, role, sign(world, package, role, key))
        for role, key in (("contractor", contractor), ("engineer", engineer))
    ]
    came = [outcome(world, one) for one in sent]
    assert sorted(one["state"] for one in came) == ["refused", "taken"]
    [refused] = [one for one in came if one["state"] == "refused"]
    assert refused["problems"] == [OVERTAKEN]
    # Signed anew as it is now, it is taken too.
    role = refused["role"]
    assert upload(world, role, {"contractor": contractor, "engineer": engineer}[role])["state"] == "taken"


def test_a_signature_that_the_decisions_seal_overtook_is_made_anew(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    contractor = known(world, "contractor")
    submit(world, signature="own_key")
    world.drain()
    package = newest_package(world)
    pdf = sign(world, package, "contractor", contractor)
    decided_by_own_key(world)
    refusal(send_in(world, package, "contractor", pdf), 412)
    assert upload(world, "contractor", contractor)["state"] == "taken"


def test_nobody_signs_where_the_seal_was_chosen(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    chosen = "What was done here is signed by the service's seal, as was chosen then."
    assert refusal(send_in(world, newest_package(world), "contractor", b"%PDF-1.7"), 409)["detail"] == chosen
    decide(world)
    world.drain()
    assert refusal(send_in(world, newest_package(world), "engineer", b"%PDF-1.7"), 409)["detail"] == chosen


def test_each_party_sends_in_its_own_signature(world: World, engineer: Signatory) -> None:
    package = newest_package(world)
    path, headers = f"/v1/packages/{package['id']}/signatures", {"If-Match": f'"{package["current_sha256"]}"'}
    content, before = sign(world, package, "engineer", engineer), deeds(world)
    headers["Content-Type"] = "application/pdf"
    for kind, role, status in (
        (CONTRACTOR, "engineer", 403),
        (ENGINEER, "contractor", 403),
        (CREW, "contractor", 403),
        (BILLING, "engineer", 403),
        (ADMINISTRATOR, "engineer", 403),
        (ENGINEER, "witness", 404),
    ):
        refusal(world.call(kind, "PUT", f"{path}/{role}", content=content, headers=headers), status)
    assert deeds(world) == before


def test_who_submits_does_not_sign_for_the_owner(world: World) -> None:
    let_hold(world, ENGINEER, "p-1c9")
    refusal(send_in(world, newest_package(world), "engineer", b"%PDF-1.7"), 403)


def test_what_was_signed_has_to_be_named_and_be_the_current_file(world: World) -> None:
    package = newest_package(world)
    path, headers = f"/v1/packages/{package['id']}/signatures/engineer", {"Content-Type": "application/pdf"}
    refusal(world.call(ENGINEER, "PUT", path, content=b"%PDF-1.7", headers=headers), 428)
    for etag in (f'"{package["certified_sha256"]}"', "*", package["current_sha256"]):
        answer = send_in(world, package, "engineer", b"%PDF-1.7", etag=etag)
        refusal(answer, 412)
        assert answer.headers["etag"] == f'"{package["current_sha256"]}"'


def test_only_a_pdf_that_is_not_compressed_is_taken(world: World) -> None:
    package = newest_package(world)
    path = f"/v1/packages/{package['id']}/signatures/engineer"
    for headers in (
        {"Content-Type": "application/json"},
        {"Content-Type": "application/pdf", "Content-Encoding": "gzip"},
        {},
    ):
        how = {"If-Match": f'"{package["current_sha256"]}"', **headers}
        refusal(world.call(ENGINEER, "PUT", path, content=b"%PDF-1.7", headers=how), 415)


def _two_hundred_megabytes() -> Iterator[bytes]:
    for _ in range(200):
        yield bytes(1024 * 1024)


def test_a_body_beyond_what_a_signature_needs_is_refused_and_not_kept(world: World) -> None:
    package = newest_package(world)
    folder = world.settings.blob_dir
    kept = sorted(folder.rglob("*"))
    largest = len(file_of(world, package)) + MAX_SIGNATURE_BYTES
    path = f"/v1/packages/{package['id']}/signatures/engineer"
    headers = {"Content-Type": "application/pdf", "If-Match": f'"{package["current_sha256"]}"'}
    told = world.call(ENGINEER, "PUT", path, content=bytes(largest + 1), headers=headers)
    assert f"At most {largest} bytes" in refusal(told, 413)["detail"]
    # Without a length it is cut where it becomes too long: the answer may cross what we still write.
    with suppress(httpx.TransportError):
        refusal(world.call(ENGINEER, "PUT", path, content=_two_hundred_megabytes(), headers=headers), 413)
    assert sorted(folder.rglob("*")) == kept
    assert send_in(world, package, "engineer", bytes(largest)).status_code == 202


def test_each_step_stands_in_the_chain_with_the_digest_of_the_file(world: World, engineer: Signatory) -> None:
    came = upload(world, "engineer", engineer)
    assert deeds(world)[-2:] == [("signature.sent_in", came["file_sha256"]), ("signature.taken", came["file_sha256"])]


def test_the_public_learns_of_a_signature_and_not_whose_it_is(world: World, engineer: Signatory) -> None:
    upload(world, "engineer", engineer)
    package = newest_package(world)
    answer = world.http.get(f"/v1/verifications/{package['verification_code']}")
    assert [(one["role"], one["by"]) for one in answer.json()["signatures"]] == [
        ("decision", "service_seal"),
        ("engineer", "own_key"),
    ]
    page = world.http.get(f"/v1/verifications/{package['verification_code']}", headers={"Accept": "text/html"})
    private = ["p-9e6", "p-1c9", engineer.fingerprint, "Holder"]
    assert [word for word in private if word in answer.text or word in page.text] == []
    assert package["current_sha256"] in page.text and "own key" in page.text


def test_an_own_signature_is_stamped_with_the_time_by_the_service(
    world: World, engineer: Signatory, authority: DemonstrationAuthority
) -> None:
    with serve_time(authority) as url:
        with_time(world, url)
        came = upload(world, "engineer", engineer)
    assert came["state"] == "taken", came
    package, pdf = newest_package(world), file_of(world, newest_package(world))
    signature = package["signatures"][-1]
    assert came["file_sha256"] != package["current_sha256"] == signature["file_sha256"]
    assert pdf.startswith(world.context.blobs.get(came["file_sha256"]))
    trust = RoleTrust(service=world.context.trust(), engineer=[engineer.certificate])
    report = verify(pdf, trust=trust, now=world.context.clock())
    assert report.problems == ()
    # Those who signed before are proven to have by the same stamp.
    assert [one.level for one in report.signatures] == ["PAdES B-T"] * 3
    assert [one.authority for one in report.timestamps] == ["DEMONSTRATION time, not for real use"]
    assert (signature["level"], package["current_level"]) == ("b_t", "b_t")


def test_while_the_time_authority_is_away_nothing_is_taken_and_nothing_refused(
    world: World, engineer: Signatory, authority: DemonstrationAuthority
) -> None:
    before = newest_package(world)
    with nobody() as url:
        with_time(world, url)
        sent = send_in(world, before, "engineer", sign(world, before, "engineer", engineer))
        assert outcome(world, sent)["state"] == "checking"
    assert newest_package(world) == before
    with serve_time(authority) as url:
        with_time(world, url)
        make_all_due(world)
        assert outcome(world, sent)["state"] == "taken"
    assert newest_package(world)["current_level"] == "b_t"


def with_time(world: World, url: str) -> None:
    settings = world.settings.model_copy(update={"timestamp_url": SecretStr(url)})
    world.context = replace(world.context, settings=settings, authorities=lambda: authorities_of(settings))


def make_all_due(world: World) -> None:
    with transaction(world.engine) as session:
        session.execute(update(Job).where(col(Job.state) == "due").values(due_at=datetime.now(UTC), hinted_at=None))
