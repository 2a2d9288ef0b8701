"""Each role signs by a key of its own or by the service's seal over what it did, and the package says which."""

import subprocess
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest

from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import decide, newest_package, pointers, refusal, submit
from tests.integration.api.conftest import OpenWorld
from tests.outside_tools import require_tool
from tests.world import World
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.report import PackageReport
from worker.signing.verify import verify

pytestmark = pytest.mark.slow
CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
BOTH_REFUSED = {"west": "refused", "east": "refused"}


def file_of(world: World, package: Any) -> bytes:
    pdf: bytes = world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").content
    return pdf


def report_on(world: World, package: Any) -> PackageReport:
    return verify(file_of(world, package), trust=world.context.trust, now=world.context.clock())


def first_page_of(world: World, package: Any, folder: Path) -> str:
    """Return what another program reads on the first page, stamps included."""
    file = folder / "package.pdf"
    file.write_bytes(file_of(world, package))
    command = [require_tool("pdftotext"), "-l", "1", "-layout", str(file), "-"]
    ran = subprocess.run(command, capture_output=True, text=True, check=True)
    return str(ran.stdout)


def test_at_issue_the_submission_is_sealed_in_the_contractors_field(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    package = newest_package(world)
    [contractor] = package["signatures"]
    assert (contractor["role"], contractor["by"], contractor["signer"]) == ("contractor", "service_seal", "p-1c9")
    assert contractor["file_sha256"] == package["current_sha256"] != package["certified_sha256"]
    assert package["awaited_signatures"] == []
    report = report_on(world, package)
    assert (report.problems, report.signed_fields) == ((), (SEAL_FIELD, CONTRACTOR_FIELD))
    assert (report.sha256, report.certified_sha256) == (package["current_sha256"], package["certified_sha256"])
    seal = report.signatures[1]
    assert seal.certificate_sha256 == contractor["certificate_sha256"]
    assert f"Service's seal over the recorded submission {package['submission_id']}" in str(seal.reason)


def test_both_stamps_name_who_did_what_and_that_the_service_sealed_it(fresh_world: OpenWorld, tmp_path: Path) -> None:
    world = fresh_world("issued")
    decide(world, segments=BOTH_REFUSED)
    world.drain()
    text = first_page_of(world, newest_package(world), tmp_path)
    people = world.ask(ENGINEER, "GET", f"/v1/packages/{newest_package(world)['id']}")["signatures"]
    assert [one["signer"] for one in people] == ["p-1c9", "p-9e6"]
    for said in (
        "submitted: east, west",
        "concessions asked: 1",
        "service's seal over the recorded submission",
        "refused: east, west",
        "service's seal over the recorded decision",
    ):
        assert said in text, text


def test_a_contractor_with_a_key_of_its_own_is_awaited_and_billing_is_not(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    assert submit(world, signature="own_key").json()["signature"] == "own_key"
    world.drain()
    package = newest_package(world)
    assert (package["signatures"], package["awaited_signatures"]) == ([], ["contractor"])
    assert package["current_sha256"] == package["certified_sha256"]
    assert report_on(world, package).signed_fields == (SEAL_FIELD,)
    assert decide(world).is_success
    world.drain()
    package = newest_package(world)
    assert [one["role"] for one in package["signatures"]] == ["engineer"]
    assert package["awaited_signatures"] == ["contractor"]
    notices = world.ask(BILLING, "GET", f"/v1/projects/{world.project_id}/notices")["notices"]
    assert [one["data"]["segment_id"] for one in notices] == ["west"]


def test_an_engineer_with_a_key_of_its_own_is_awaited_once_the_decision_counts(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    decided = decide(world, signature="own_key")
    assert decided.json()["decision"]["signature"] == "own_key"
    assert world.drain() == 0
    package = newest_package(world)
    assert package["awaited_signatures"] == ["engineer"]
    assert report_on(world, package).signed_fields == (SEAL_FIELD, CONTRACTOR_FIELD)
    assert {one["id"]: one["status"] for one in world.status()["segments"]} == {"west": "accepted", "east": "refused"}
    public = world.http.get(f"/v1/verifications/{package['verification_code']}").json()
    assert (public["decision"], public["awaited_signatures"]) == ("accepted_in_part", ["engineer"])
    page = world.http.get(f"/v1/verifications/{package['verification_code']}", headers={"Accept": "text/html"}).text
    assert "Signature awaited" in page


def test_a_key_of_its_own_needs_an_engineer_who_is_known(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    form = {"kind": "engineer", "projects": [world.project_id]}
    world.tokens[ENGINEER] = world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    assert pointers(refusal(decide(world, signature="own_key"), 422)) == ["/signature"]
    assert decide(world).is_success
    world.drain()
    [_, engineer] = newest_package(world)["signatures"]
    assert (engineer["role"], engineer["signer"]) == ("engineer", None)


@pytest.mark.parametrize("signature", ["pen", None, ""])
def test_only_the_two_ways_of_signing_are_taken(fresh_world: OpenWorld, signature: Any) -> None:
    world = fresh_world("issued")
    assert pointers(refusal(decide(world, signature=signature), 422)) == ["/signature"]


def test_billing_reads_that_it_is_signed_and_not_by_whom(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    package = newest_package(world)
    seen = world.ask(BILLING, "GET", f"/v1/packages/{package['id']}")
    assert [(one["role"], one["signer"]) for one in seen["signatures"]] == [("contractor", None), ("engineer", None)]


def test_an_archive_holds_the_current_file(fresh_world: OpenWorld) -> None:
    world = fresh_world("decided")
    package = newest_package(world)
    assert report_on(world, package).signed_fields == (SEAL_FIELD, CONTRACTOR_FIELD, ENGINEER_FIELD)
    archive = world.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/archive")
    with ZipFile(BytesIO(archive.content)) as files:
        [pdf] = [files.read(name) for name in files.namelist() if name.endswith(".pdf")]
    assert sha256_hex(pdf) == package["current_sha256"]
