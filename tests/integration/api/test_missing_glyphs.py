"""A package whose typefaces lack a character: it is made all the same, says so, and so does the log."""

from io import BytesIO

import pytest
from pypdf import PdfReader
from structlog.testing import capture_logs

from service.vocabulary.words import TokenKind
from tests.factories import both_ways, cord_ended, only, sealed, splice_criterion
from tests.integration.api.acts import newest_package
from tests.world import World, describe_route, open_project, read_demo


@pytest.mark.parametrize(("name", "code_points"), [("Oldenmere 张 ring", ["U+5F20"]), ("Ølden Ωmere", None)])
def test_the_job_logs_which_characters_could_not_be_printed(
    bare_world: World, name: str, code_points: list[str] | None
) -> None:
    world = bare_world
    open_project(world, project=read_demo("project") | {"name": name}, people=read_demo("people"))
    describe_route(world, design=cord_ended(fibres=1), criteria=only(splice_criterion()))
    world.record([*sealed(), *both_ways(design=cord_ended(fibres=1))])
    assert world.submit().is_success
    with capture_logs() as logs:
        world.drain()
    told = [entry for entry in logs if entry["event"] == "package.glyphs_missing"]
    assert [(entry["code_points"], entry["log_level"]) for entry in told] == (
        [] if code_points is None else [(code_points, "warning")]
    )
    assert name not in repr(logs)
    package = world.call(TokenKind.ENGINEER, "GET", f"/v1/packages/{newest_package(world)['id']}/pdf")
    text = "".join(page.extract_text() for page in PdfReader(BytesIO(package.content)).pages)
    assert ("could not be printed" in text) is (code_points is not None)
