"""Two relays and three workers on one database come to what one worker comes to, and do each thing once."""

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import select, update

from service.storage.session import transaction
from service.storage.tables import AuditEntry, Fibre, Job, Package, StandingVerdict
from service.vocabulary.states import JobKind
from tests.conftest import Servers
from tests.integration.faults.acts import finished_route, submission, submit
from tests.integration.faults.processes import Part, wait_until
from tests.world import World

pytestmark = pytest.mark.timeout(180)


def test_they_come_to_the_same_and_do_each_thing_once(world: World, servers: Servers, tmp_path: Path) -> None:
    servers.redis.start()
    with ExitStack() as parts:
        for number, name in enumerate(("relay", "relay", "worker", "worker", "worker")):
            parts.enter_context(Part(name, world.settings, tmp_path / f"{name}-{number}.log"))
        records = finished_route()
        for number in range(12):
            world.post_records(records[number::12])
        wait_until(lambda: bool(world.status()["is_judged"]))
        made = submit(world)
        wait_until(lambda: submission(world, made)["state"] == "issued")
    together = _judged(world)
    with transaction(world.engine) as session:
        assert len(session.exec(select(Package)).all()) == 1
        signed = [one for one in session.exec(select(AuditEntry.entry)) if '"package.signed"' in one]
        session.execute(update(Fibre).values(judged_version=0, content=None, digest=None))
        session.execute(update(Job).where(Job.kind == JobKind.JUDGE.value).values(state="due"))  # type: ignore[arg-type]
    assert len(signed) == 1
    world.drain()
    assert _judged(world) == together


def _judged(world: World) -> Sequence[Any]:
    with transaction(world.engine) as session:
        fibres = session.exec(select(Fibre.number, Fibre.digest, Fibre.content).order_by(Fibre.number)).all()  # type: ignore[arg-type]
        return [*fibres, session.exec(select(StandingVerdict.digest)).one()]
