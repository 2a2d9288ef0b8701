"""The head row: notices without a gap in commit order, and a chain of audit entries that shows what was done to it."""

import random
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from uuid import UUID, uuid4

import psycopg
import pytest
from sqlalchemy import Engine
from sqlmodel import col, select

from service.actions.access.audit import verify_chain
from service.storage.audit import AuditEvent, NoticeDraft, append_audit, chain_hash, notices_after
from service.storage.session import snapshot, transaction
from service.storage.tables import AuditEntry, Notice

Superuser = psycopg.Connection[tuple[object, ...]]
TRANSACTIONS = 400


class RolledBackError(Exception):
    """A transaction that ends without its commit."""


def test_a_reader_who_asks_all_the_time_misses_no_notice_and_sees_none_twice(engine: Engine, project_id: UUID) -> None:
    seen: list[tuple[int, UUID]] = []
    committed: list[UUID] = []
    is_over = threading.Event()

    def read() -> None:
        while True:
            was_over = is_over.is_set()
            with transaction(engine) as session:
                page = notices_after(session, project_id, seen[-1][0] if seen else 0, limit=7)
            seen.extend((notice.sequence, notice.id) for notice in page)
            if was_over and not page:
                return

    def write(number: int) -> None:
        draw = random.Random(number)
        ids = [uuid4() for _ in range(draw.choice([0, 1, 1, 3]))]
        try:
            with transaction(engine) as session:
                time.sleep(draw.uniform(0, 0.01))
                append_audit(session, project_id, _event(number), notices=[_draft(project_id, id_) for id_ in ids])
                session.flush()
                if draw.random() < 0.25:
                    raise RolledBackError
        except RolledBackError:
            return
        committed.extend(ids)

    reader = threading.Thread(target=read)
    reader.start()
    with ThreadPoolExecutor(8) as writers:
        list(writers.map(write, range(TRANSACTIONS)))
    is_over.set()
    reader.join(30)
    assert len(committed) > TRANSACTIONS // 2
    assert [sequence for sequence, _ in seen] == list(range(1, len(committed) + 1))
    assert {id_ for _, id_ in seen} == set(committed)
    with snapshot(engine) as session:
        assert verify_chain(session, project_id) is None


def test_numbers_are_in_commit_order(engine: Engine, project_id: UUID) -> None:
    order: list[int] = []

    def write(number: int) -> None:
        draft = _draft(project_id, uuid4(), acceptance_number=number)
        with transaction(engine) as session:
            append_audit(session, project_id, _event(number), notices=[draft])
            # Its place in line is known once it holds the head; whoever is second here commits later.
            order.append(number)

    with ThreadPoolExecutor(8) as writers:
        list(writers.map(write, range(1, 101)))
    with transaction(engine) as session:
        notices = session.exec(
            select(Notice).where(Notice.project_id == project_id).order_by(col(Notice.sequence))
        ).all()
    assert [notice.acceptance_number for notice in notices] == order


def test_a_chain_is_whole_while_entries_are_added(engine: Engine, project_id: UUID) -> None:
    is_over = threading.Event()

    def append() -> None:
        while not is_over.is_set():
            _append(engine, project_id, 1)

    writer = threading.Thread(target=append)
    writer.start()
    try:
        for _ in range(50):
            with snapshot(engine) as session:
                assert verify_chain(session, project_id) is None
    finally:
        is_over.set()
        writer.join(10)


def _swap(superuser: Superuser, project_id: UUID) -> None:
    for old, new in ((3, -1), (4, 3), (-1, 4)):
        superuser.execute(
            "UPDATE audit_entry SET sequence = %s WHERE project_id = %s AND sequence = %s", (new, project_id, old)
        )


def _edit(superuser: Superuser, project_id: UUID) -> None:
    superuser.execute(
        "UPDATE audit_entry SET entry = replace(entry, 'tried', 'trued') WHERE project_id = %s AND sequence = 3",
        (project_id,),
    )


def _edit_and_hash_again(superuser: Superuser, project_id: UUID) -> None:
    row = superuser.execute(
        "SELECT previous_hash, entry FROM audit_entry WHERE project_id = %s AND sequence = 3", (project_id,)
    ).fetchone()
    assert row is not None
    entry = str(row[1]).replace("tried", "trued")
    superuser.execute(
        "UPDATE audit_entry SET entry = %s, hash = %s WHERE project_id = %s AND sequence = 3",
        (entry, chain_hash(str(row[0]), entry), project_id),
    )


def _delete(sequence: int) -> Callable[[Superuser, UUID], None]:
    def act(superuser: Superuser, project_id: UUID) -> None:
        superuser.execute(
            "DELETE FROM audit_entry WHERE project_id = %s AND sequence >= %s AND sequence < %s",
            (project_id, sequence, sequence + 1),
        )

    return act


def _insert(sequence: int) -> Callable[[Superuser, UUID], None]:
    """Put an entry with a right hash of its own where none was."""

    def act(superuser: Superuser, project_id: UUID) -> None:
        row = superuser.execute(
            "SELECT hash FROM audit_entry WHERE project_id = %s ORDER BY sequence DESC LIMIT 1", (project_id,)
        ).fetchone()
        assert row is not None
        superuser.execute(
            "INSERT INTO audit_entry VALUES (%s, %s, 'more', %s, %s)",
            (project_id, sequence, row[0], chain_hash(str(row[0]), "more")),
        )

    return act


def _wipe(superuser: Superuser, project_id: UUID) -> None:
    superuser.execute("DELETE FROM audit_entry WHERE project_id = %s", (project_id,))


def _edit_the_last(superuser: Superuser, project_id: UUID) -> None:
    row = superuser.execute(
        "SELECT previous_hash FROM audit_entry WHERE project_id = %s AND sequence = 6", (project_id,)
    ).fetchone()
    assert row is not None
    superuser.execute(
        "UPDATE audit_entry SET entry = 'other', hash = %s WHERE project_id = %s AND sequence = 6",
        (chain_hash(str(row[0]), "other"), project_id),
    )


@pytest.mark.parametrize(
    ("act", "first_bad"),
    [
        pytest.param(_edit, 3, id="edited"),
        pytest.param(_edit_and_hash_again, 4, id="edited, its hash too"),
        pytest.param(_edit_the_last, 6, id="the last one edited, its hash too"),
        pytest.param(_delete(3), 3, id="deleted"),
        pytest.param(_delete(1), 1, id="the first one deleted"),
        pytest.param(_delete(6), 6, id="the last one deleted"),
        pytest.param(_wipe, 1, id="all deleted"),
        pytest.param(_swap, 3, id="two in each other's place"),
        pytest.param(_insert(7), 7, id="one more at the end"),
        pytest.param(_insert(0), 0, id="one more before the first"),
    ],
)
def test_whatever_a_superuser_does_to_an_entry_is_found_where_it_was_done(
    engine: Engine,
    superuser: Superuser,
    project_id: UUID,
    act: Callable[[Superuser, UUID], None],
    first_bad: int,
) -> None:
    _append(engine, project_id, 6)
    with snapshot(engine) as session:
        assert verify_chain(session, project_id) is None
        assert len(session.exec(select(AuditEntry).where(AuditEntry.project_id == project_id)).all()) == 6
    act(superuser, project_id)
    with snapshot(engine) as session:
        assert verify_chain(session, project_id) == first_bad


def _append(engine: Engine, project_id: UUID, count: int) -> None:
    for number in range(count):
        with transaction(engine) as session:
            append_audit(session, project_id, _event(number))


def _event(number: int) -> AuditEvent:
    return AuditEvent(at=datetime.now(UTC), actor="a test", action="thing.tried", subject=str(number))


def _draft(project_id: UUID, id_: UUID, *, acceptance_number: int = 1) -> NoticeDraft:
    route_id = uuid4()
    return lambda sequence: Notice(
        project_id=project_id,
        sequence=sequence,
        id=id_,
        type="segment.accepted",
        route_id=route_id,
        segment_id="S",
        acceptance_number=acceptance_number,
        body=f'{{"sequence":{sequence}}}',
    )
