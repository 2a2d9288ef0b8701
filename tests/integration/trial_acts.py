"""What tests of trials do: records of two fibres, and a trial asked for, waited for and read."""

from typing import Any

import httpx

from service.vocabulary.words import TokenKind
from tests.factories import (
    Body,
    finished_fibre,
    link_criterion,
    make_criteria,
    make_otdr,
    required_test_criterion,
    splice_criterion,
    termination_criterion,
)
from tests.world import World

# Two fibres of the factories' twelve, whose splices lose 0.040 dB and one of 0.160 dB; the other ten have no record.
GOOD, BAD = 1, 2


def judge_two_fibres(world: World) -> World:
    """Let a fibre of the factories' route conform and another not."""
    worse = {"C1": 0.16}
    records = finished_fibre(fibre=GOOD)
    records += [record for record in finished_fibre(fibre=BAD) if record["kind"] not in {"otdr", "closure_state"}]
    records += [
        make_otdr(fibre=BAD, losses_db=worse),
        make_otdr(fibre=BAD, from_site="B", to_site="A", losses_db=worse),
    ]
    world.post_records(records)
    world.drain()
    return world


def wider(limit_db: float = 0.2, **changes: Any) -> Body:
    """Return the factories' criteria with another limit for splices."""
    criteria = [
        splice_criterion(limit_db=limit_db),
        termination_criterion(),
        link_criterion(),
        required_test_criterion(),
        required_test_criterion(code="POWER-1550", test="attenuation"),
    ]
    return make_criteria(criteria=criteria, **changes)


def ask(world: World, criteria: Body, *, route_id: str | None = None) -> httpx.Response:
    """Ask for a trial on the world's route, or on another."""
    form = {"route_id": route_id or world.route_id, "criteria": criteria}
    return world.call(TokenKind.ENGINEER, "POST", f"/v1/projects/{world.project_id}/criteria/trial", json=form)


def read(world: World, answer: httpx.Response) -> Any:
    """Return a trial as it is now."""
    assert answer.status_code == 202, answer.text
    return world.ask(TokenKind.ENGINEER, "GET", answer.headers["Location"])


def tried(world: World, criteria: Body) -> Any:
    """Return what a trial gave."""
    answer = ask(world, criteria)
    world.drain()
    trial_ = read(world, answer)
    assert trial_["state"] == "done", trial_
    return trial_["result"]
