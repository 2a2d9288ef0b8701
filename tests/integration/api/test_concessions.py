"""Concessions for what lies in a section or between two sites: named, checked against the design, printed."""

import re

import pytest

from service.vocabulary.words import TokenKind
from tests.factories import Body, coefficient_criterion, cord_ended, make_otdr, only, sealed
from tests.integration.api.acts import newest_package, pointers, refusal
from tests.package_reading import page_texts
from tests.unit.judgement.rules.test_attenuation_coefficient import stating
from tests.world import World, describe_route, open_project, read_demo

ENGINEER = TokenKind.ENGINEER
REASON = "the old cable stays for a year"
S1: Body = {"criterion": "COEFF-1550", "fibre": 1, "section": "S1", "reason": REASON}
S3: Body = {**S1, "section": "S3"}


@pytest.fixture
def route(bare_world: World) -> World:
    """Serve a route of one fibre that loses too much in its first section and in its last."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    design = cord_ended(fibres=1)
    criterion = coefficient_criterion(code="COEFF-1550", over="section", limit_db_per_km=0.25)
    describe_route(bare_world, design=design, criteria=only(criterion))
    ends: tuple[Body, ...] = ({}, {"from_site": "B", "to_site": "A"})
    steep = (0.3, 0.2, 0.4)
    shown = [stating(make_otdr(design=design, **end), 0.2, *(steep[::-1] if end else steep)) for end in ends]
    bare_world.record([*sealed(), *shown])
    return bare_world


def test_one_section_can_be_conceded_and_the_other_not(route: World) -> None:
    problem = refusal(route.submit(concessions=[S1]), 422)
    [fault] = problem["errors"]
    assert fault["detail"].startswith("COEFF-1550, fibre 1 in S3: nonconforming")
    assert problem["type"].endswith("submission.not_conforming")


@pytest.mark.parametrize(
    ("asked", "named"),
    [
        ({**S3, "section": "S9"}, "section"),
        ({**S3, "section": None, "site": "X"}, "site"),
        ({**S3, "section": None, "from_site": "A", "to_site": "X"}, "to_site"),
        ({**S3, "fibre": 2}, "fibre"),
    ],
)
def test_what_the_design_has_not_is_refused_by_name(route: World, asked: Body, named: str) -> None:
    concession = {name: one for name, one in asked.items() if one is not None}
    problem = refusal(route.submit(concessions=[S1, S3, concession]), 422)
    assert pointers(problem) == [f"/concessions/2/{named}"]


@pytest.mark.parametrize("needless", [{**S1, "section": "S2"}, S1])
def test_a_section_that_needs_none_is_refused_too(route: World, needless: Body) -> None:
    assert pointers(refusal(route.submit(concessions=[S1, S3, needless]), 422)) == ["/concessions/2"]


def test_each_is_kept_and_printed_with_its_section_and_value(route: World) -> None:
    submission = route.submit(concessions=[S3, S1])
    assert submission.status_code == 202
    numbered = [{**one, "number": number, "segments": ["SEG1"]} for number, one in ((1, S3), (2, S1))]
    assert submission.json()["concessions"] == numbered
    route.drain()
    package = newest_package(route)
    pdf = route.call(ENGINEER, "GET", f"/v1/packages/{package['id']}/pdf").content
    said = " ".join(" ".join(page_texts(pdf)).split())
    assert re.search(r"section S3 \S+ COEFF-1550 0.4\d*", said)
    assert re.search(r"section S1 \S+ COEFF-1550 0.3\d*", said)


def test_without_a_section_all_of_them_are_meant(route: World) -> None:
    wide = {name: one for name, one in S1.items() if name != "section"}
    assert route.submit(concessions=[wide]).json()["concessions"] == [{**wide, "number": 1, "segments": ["SEG1"]}]
