"""A file and a service: whether it is what was issued under its code, and whether it is still current."""

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.vocabulary.canonical import sha256_hex
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import CONCESSION, decide, newest_package, submit
from tests.integration.api.conftest import OpenWorld
from tests.package_factories import make_content
from tests.package_reading import draw_content
from tests.world import World
from worker.commands.issued_status import Served, ask_issued_status, issued_status_lines
from worker.commands.page_comparison import check_data


def file_of(world: World, package: Any) -> bytes:
    pdf: bytes = world.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").content
    return pdf


def ask(world: World, pdf: bytes) -> Served:
    """Ask the world's own service about a file."""
    return ask_issued_status(pdf, sha256=sha256_hex(pdf), head=check_data(pdf).audit_head, client=world.http)


def test_the_issued_file_is_current_until_another_takes_its_place(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    package = newest_package(world)
    certified = file_of(world, package)
    served = ask(world, certified)
    assert (served.problems, served.answer["standing"]) == ((), "current")
    assert issued_status_lines(served)[0] == f"  server    package {package['number']}: current, undecided"
    assert decide(world, segments={"west": "refused", "east": "refused"}).status_code == 200
    world.drain()
    countersigned = file_of(world, newest_package(world))
    assert countersigned != certified
    assert ask(world, countersigned).problems == ()
    [cut_back] = ask(world, certified).problems
    assert cut_back.startswith("The file was cut back, or is an earlier one: beyond it the server has ")
    assert "the service's seal over the decision; the decision: refused" in cut_back
    assert submit(world, concessions=[CONCESSION]).status_code == 202
    world.drain()
    later = newest_package(world)["number"]
    assert ask(world, countersigned).problems == (f"The package is superseded by {later}.",)
    superseded = f"  server    package {package['number']}: superseded by {later}, refused"
    assert issued_status_lines(ask(world, certified))[0] == superseded


def test_a_file_that_was_changed_is_not_what_was_issued(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    pdf = file_of(world, newest_package(world))
    assert ask(world, pdf + b"\n").problems == ("The server issued another file under this verification code.",)


def test_a_code_that_the_service_never_gave_is_unknown_to_it(fresh_world: OpenWorld) -> None:
    served = ask(fresh_world("issued"), draw_content(make_content()))
    assert served == Served({}, ("The server knows no package with this file's verification code.",))


def _away(_: httpx.Request) -> httpx.Response:
    raise httpx.ConnectError("nobody listens")


@pytest.mark.parametrize(
    ("answering", "problem"),
    [
        (_away, "The server did not answer (ConnectError)."),
        (
            lambda _: httpx.Response(502, text="bad gateway"),
            "The server gave no answer that could be read (status 502).",
        ),
        (lambda _: httpx.Response(200, json=[]), "The server gave no answer that could be read (status 200)."),
        (lambda _: httpx.Response(200, json={}), "The server gave no answer that could be read (status 200)."),
    ],
)
def test_without_an_answer_nothing_is_taken_for_good(
    answering: Callable[[httpx.Request], httpx.Response], problem: str
) -> None:
    client = httpx.Client(transport=httpx.MockTransport(answering), base_url="https://acceptance.example")
    served = ask_issued_status(draw_content(make_content()), sha256="0" * 64, head=None, client=client)
    assert (served.answer, served.problems, issued_status_lines(served)) == ({}, (problem,), [])


@pytest.mark.parametrize("code", ["../../v1/tokens", "K7QM-2XVD-91TB-PW5E/..", "", "K7QM"])
def test_what_is_no_code_is_not_asked_for(code: str) -> None:
    def never(request: httpx.Request) -> httpx.Response:
        raise AssertionError(request.url)

    client = httpx.Client(transport=httpx.MockTransport(never), base_url="https://acceptance.example")
    for pdf in (draw_content(make_content(verification_code=code)), b"no PDF at all"):
        served = ask_issued_status(pdf, sha256="0" * 64, head=None, client=client)
        assert served.problems == ("The file holds no verification code to ask the server for.",)
