"""The verdict depends on what was recorded, not on when or in which company it arrived."""

import random

from sqlmodel import col, select

from service.storage.session import transaction
from service.storage.tables import Fibre
from tests.factories import make_closure_state, make_criteria, make_design, make_splice
from tests.integration.faults.acts import finished_route
from tests.world import World, describe_route, open_project, read_demo

# Beside what conforms: a splice tried twice, a lid opened again, a fibre never finished.
RECORDS = [
    *(one for one in finished_route() if one.get("fibre") != 9),
    make_splice(fibres=[2], estimate_db=0.09, made_at="2025-03-02T08:00:00Z"),
    make_splice(fibres=[5], site="C2", estimate_db=0.01, made_at="2025-03-25T08:00:00Z"),
    make_closure_state(site="C2", state="opened", made_at="2025-03-24T08:00:00Z"),
    make_closure_state(site="C2", state="sealed", made_at="2025-03-26T08:00:00Z"),
]


def test_the_same_records_in_any_order_and_batches_give_the_same_verdict(world: World) -> None:
    world.post_records(RECORDS)
    world.drain()
    first = world.status()
    documents = [_documents(world)]
    for number in range(3):
        draw = random.Random(number)
        # A project of its own: ids are unique in one, and the same records are posted to each.
        _open_another_project(world, number)
        left = draw.sample(RECORDS, len(RECORDS))
        while left:
            size = draw.choice([1, 7, 40])
            world.post_records(left[:size])
            left = left[size:]
            if draw.random() < 0.5:
                world.drain()
        world.drain()
        assert world.status()["verdict_digest"] == first["verdict_digest"]
        documents.append(_documents(world))
    assert documents[1:] == documents[:1] * 3
    assert set(first["segments"][0]["counts"].values()) != {0}


def _open_another_project(world: World, number: int) -> None:
    project = read_demo("project") | {"code": f"OTHER-{number}"}
    open_project(world, project=project, people=read_demo("people"))
    describe_route(world, design=make_design(), criteria=make_criteria())
    world.drain()


def _documents(world: World) -> list[str | None]:
    with transaction(world.engine) as session:
        return list(
            session.exec(select(Fibre.content).where(col(Fibre.route_id) == world.route_id).order_by(col(Fibre.number)))
        )
