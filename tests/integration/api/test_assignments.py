"""The fibre assignment table: by pages, at one site, as JSON and as a table of lines."""

import csv
from io import StringIO
from typing import Any

import pytest

from service.vocabulary.design.assignments import HEADINGS
from service.vocabulary.words import TokenKind
from tests.world import World

CREW = TokenKind.CREW
SITES = ("A", "C1", "C2", "B")


def read(world: World, *, accept: str = "application/json", **query: Any) -> Any:
    path = f"/v1/routes/{world.route_id}/fibre-assignments"
    return world.call(CREW, "GET", path, params=query, headers={"Accept": accept})


def follow(world: World, *, accept: str, **query: Any) -> list[Any]:
    """Return the answers of all pages, each asked for as the one before says."""
    answers = [read(world, accept=accept, **query)]
    while "next" in answers[-1].links:
        url = answers[-1].links["next"]["url"]
        answers.append(world.call(CREW, "GET", url, headers={"Accept": accept}))
    assert all(answer.status_code == 200 for answer in answers)
    return answers


def test_all_pages_together_have_each_fibre_at_each_site_once(world: World) -> None:
    pages = [answer.json() for answer in follow(world, accept="application/json", limit=5)]
    assert [len(page["items"]) for page in pages] == [20, 20, 8]
    found = [(item["fibre"], item["site"]) for page in pages for item in page["items"]]
    assert found == [(fibre, site) for fibre in range(1, 13) for site in SITES]
    assert pages[-1]["next"] is None


@pytest.mark.parametrize("limit", [5, 12, 500])
def test_the_lines_of_all_pages_put_together_are_one_table(world: World, limit: int) -> None:
    answers = follow(world, accept="text/csv", limit=limit)
    assert {answer.headers["content-type"].partition(";")[0] for answer in answers} == {"text/csv"}
    headings, *lines = csv.reader(StringIO("".join(answer.text for answer in answers), newline=""))
    assert headings == list(HEADINGS)
    assert [(line[0], line[1]) for line in lines] == [(str(n), site) for n in range(1, 13) for site in SITES]
    closure = dict(zip(headings, lines[1], strict=True))
    assert (closure["towards_a_section"], closure["towards_a_tube_colour"], closure["joints"], closure["tray"]) == (
        "S1", "blue", "1 splice", "",
    )  # fmt: skip


def test_a_cursor_belongs_to_its_site(world: World) -> None:
    first = read(world, site="C1", limit=4).json()
    assert [item["fibre"] for item in first["items"]] == [1, 2, 3, 4]
    assert read(world, site="C1", limit=4, cursor=first["next"]).json()["items"][0]["fibre"] == 5
    assert read(world, site="C2", limit=4, cursor=first["next"]).status_code == 400
