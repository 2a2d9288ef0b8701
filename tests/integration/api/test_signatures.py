"""What the file declares, under whose signature, and whose is still awaited: a seal is never a person's signature."""

import subprocess
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import orjson
import pytest

from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import decide, newest_package, pointers, refusal, submit
from tests.integration.api.conftest import OpenWorld
from tests.outside_tools import require_tool
from tests.world import World, read_demo
from worker.signing.check.parsing import read_attachment
from worker.signing.check.verify import verify
from worker.signing.fields import DECISION_FIELD, OWN_KEY_FOLLOWS, SEAL_FIELD
from worker.signing.report import PackageReport
from worker.signing.trust.role_trust import RoleTrust

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
PROJECT = read_demo("project")


def file_of(world: World, package: Any) -> bytes:
    pdf: bytes = world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").content
    return pdf


def report_on(world: World, package: Any) -> PackageReport:
    return verify(file_of(world, package), trust=RoleTrust(service=world.context.trust()), now=world.context.clock())


def text_of(world: World, package: Any, folder: Path, *, page: int) -> str:
    """Return what another program reads on a page, stamps included."""
    file = folder / "package.pdf"
    file.write_bytes(file_of(world, package))
    command = [require_tool("pdftotext"), "-f", str(page), "-l", str(page), "-layout", str(file), "-"]
    ran = subprocess.run(command, capture_output=True, text=True, check=True)
    return " ".join(ran.stdout.split())


def places(package: Any) -> list[tuple[str, str]]:
    return [(one["role"], one["by"]) for one in package["signatures"]]


def test_at_issue_the_certified_file_is_all_there_is_and_declares_for_the_contractor(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("issued")
    package = newest_package(world)
    assert (package["signatures"], package["awaited_signatures"]) == ([], ["decision"])
    assert package["current_sha256"] == package["certified_sha256"]
    report = report_on(world, package)
    assert (report.problems, report.signed_fields) == ((), (SEAL_FIELD,))
    assert "The service (route-acceptance " in str(report.signatures[0].reason)
    assert "made this package from the design, criteria, findings and records" in str(report.signatures[0].reason)
    text = text_of(world, package, tmp_path, page=1)
    declared = f"Corin Haldersby, works manager, declares for {PROJECT['contractor']} on "
    assert declared in text
    assert "the 2 segments submitted are complete, except as listed under" in text
    assert "recorded with the contractor's token and stands under the service's seal" in text
    about = orjson.loads(read_attachment(file_of(world, package), "package.json"))
    assert about["contractor_signature"] == "service_seal"
    assert about["declarations"]["contractor"].startswith(declared)


def test_a_decision_is_sealed_in_a_place_of_its_own_and_says_whose_word_it_is(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("issued")
    decision = decide(world, reason="C5 stands open").json()
    world.drain()
    package = newest_package(world)
    assert (places(package), package["awaited_signatures"]) == ([("decision", "service_seal")], [])
    assert package["signatures"][0]["signer"] == "p-9e6"
    report = report_on(world, package)
    assert (report.problems, report.signed_fields) == ((), (SEAL_FIELD, DECISION_FIELD))
    reason = str(report.signatures[1].reason)
    assert reason.startswith(f"Service's seal over the recorded decision, SHA-256 {decision['sha256']}. On ")
    assert not reason.endswith(OWN_KEY_FOLLOWS)
    text = text_of(world, package, tmp_path, page=2)
    at = f"{decision['decided_at'][:10]} {decision['decided_at'][11:19]} UTC"
    for said in (
        f"On {at} Petra Lindqvale, acceptance engineer, for {PROJECT['owner']}, accepts 1 segment of this package,",
        "Accepted west; latent defects excepted",
        "Refused east",
        "Reason given C5 stands open",
        "Concessions none granted of 1 asked for",
        f"SHA-256 {decision['sha256']}; this seal is no person's signature",
        "none follows: the engineer chose this seal alone",
        "Contractor's own signature: none",
    ):
        assert said in text, text


def test_a_contractor_with_a_key_of_its_own_is_awaited_and_billing_is_not(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    assert submit(world, signature="own_key").json()["signature"] == "own_key"
    world.drain()
    package = newest_package(world)
    assert (package["signatures"], package["awaited_signatures"]) == ([], ["contractor", "decision"])
    assert orjson.loads(read_attachment(file_of(world, package), "package.json"))["contractor_signature"] == "own_key"
    assert report_on(world, package).signed_fields == (SEAL_FIELD,)
    assert decide(world).is_success
    world.drain()
    package = newest_package(world)
    assert (places(package), package["awaited_signatures"]) == ([("decision", "service_seal")], ["contractor"])
    notices = world.ask(BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    assert [one["data"]["segment_id"] for one in notices] == ["west"]


def test_an_engineer_with_a_key_of_its_own_is_awaited_once_the_decision_is_sealed(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("issued")
    decided = decide(world, signature="own_key")
    assert decided.json()["decision"]["signature"] == "own_key"
    assert newest_package(world)["awaited_signatures"] == ["decision"]
    assert world.drain() == 1
    package = newest_package(world)
    assert (places(package), package["awaited_signatures"]) == ([("decision", "service_seal")], ["engineer"])
    report = report_on(world, package)
    assert report.signed_fields == (SEAL_FIELD, DECISION_FIELD)
    assert str(report.signatures[1].reason).endswith(OWN_KEY_FOLLOWS)
    assert OWN_KEY_FOLLOWS in text_of(world, package, tmp_path, page=2)
    assert {one["id"]: one["status"] for one in world.status()["segments"]} == {"west": "accepted", "east": "refused"}
    public = world.http.get(f"/v1/verifications/{package['verification_code']}").json()
    assert (public["decision"], public["awaited_signatures"]) == ("accepted_in_part", ["engineer"])
    page = world.http.get(f"/v1/verifications/{package['verification_code']}", headers={"Accept": "text/html"}).text
    assert "<dt>Still awaited</dt><dd>the owner&#x27;s engineer</dd>" in page


def test_reservations_and_what_was_granted_are_printed_with_an_acceptance(
    fresh_world: OpenWorld, tmp_path: Path
) -> None:
    world = fresh_world("issued")
    words, reason = {"west": "accepted", "east": "accepted"}, "The closure at C5 is to be painted by June."
    assert decide(world, segments=words, concessions_granted=[1], reason=reason).is_success
    world.drain()
    text = text_of(world, newest_package(world), tmp_path, page=2)
    for said in (
        "accepts 2 segments of this package, latent defects excepted.",
        "Accepted west, east; latent defects excepted",
        f"Reservations {reason}",
        "Concessions granted: 1, of 1 asked for",
    ):
        assert said in text, text
    assert "Refused" not in text


def test_a_key_of_its_own_needs_an_engineer_who_is_known(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("issued")
    form = {"kind": "engineer", "projects": [world.project_id]}
    world.tokens[ENGINEER] = world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    assert pointers(refusal(decide(world, signature="own_key"), 422)) == ["/signature"]
    assert decide(world).is_success
    world.drain()
    [decision] = newest_package(world)["signatures"]
    assert (decision["role"], decision["signer"]) == ("decision", None)
    text = text_of(world, newest_package(world), tmp_path, page=2)
    assert f"UTC the holder of the engineer's token, for {PROJECT['owner']}, accepts 1 segment" in text


@pytest.mark.parametrize("signature", ["pen", None, ""])
def test_only_the_two_ways_of_signing_are_taken(fresh_world: OpenWorld, signature: Any) -> None:
    world = fresh_world("issued")
    assert pointers(refusal(decide(world, signature=signature), 422)) == ["/signature"]


def test_billing_reads_that_it_is_signed_and_not_by_whom(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    package = newest_package(world)
    seen = world.ask(BILLING, "GET", f"/v1/packages/{package['id']}")
    assert [(one["role"], one["signer"]) for one in seen["signatures"]] == [("decision", None)]


def test_an_archive_holds_the_current_file(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    package = newest_package(world)
    assert report_on(world, package).signed_fields == (SEAL_FIELD, DECISION_FIELD)
    archive = world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/archive")
    with ZipFile(BytesIO(archive.content)) as files:
        [pdf] = [files.read(name) for name in files.namelist() if name.endswith(".pdf")]
    assert sha256_hex(pdf) == package["current_sha256"]
