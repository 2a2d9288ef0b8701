"""Who gets in: every operation names the kinds of token it takes, and nothing tells what a caller may not know."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import httpx
import pytest
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from service.actions.access.tokens import _new_text
from service.api.gate import Allow
from service.api.openapi import read_examples
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import refusal
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.posting import perform
from tests.unit.api.test_document import OPERATIONS
from tests.world import World, open_project

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind
READERS = {CREW, CONTRACTOR, ENGINEER}
# Who may do what, as README says it.
MAY: Mapping[str, set[TokenKind]] = {
    "open_project": {ADMINISTRATOR},
    "read_project": set(TokenKind),
    "name_person": {CONTRACTOR, ENGINEER, ADMINISTRATOR},
    "erase_person": {CONTRACTOR, ENGINEER, ADMINISTRATOR},
    "register_certificate": {CONTRACTOR, ENGINEER, ADMINISTRATOR},
    "read_certificates": {CONTRACTOR, ENGINEER, ADMINISTRATOR},
    "retire_certificate": {CONTRACTOR, ENGINEER, ADMINISTRATOR},
    "issue_token": {ADMINISTRATOR},
    "revoke_token": {ADMINISTRATOR},
    "set_criteria": {ENGINEER},
    "read_criteria": READERS,
    "try_criteria": {ENGINEER},
    "read_trial": {CONTRACTOR, ENGINEER},
    "propose_criteria": {ENGINEER},
    "acknowledge_criteria": {CONTRACTOR},
    "describe_route": {CONTRACTOR},
    "read_route": READERS,
    "read_design": READERS,
    "read_fibre_assignments": READERS,
    "propose_design": {CONTRACTOR},
    "preview_design": {CONTRACTOR, ENGINEER},
    "agree_design": {ENGINEER},
    "refuse_design": {ENGINEER},
    "read_revision": READERS,
    "try_design": {CONTRACTOR, ENGINEER},
    "post_records": {CREW},
    "read_records": {CONTRACTOR, ENGINEER},
    "send_evidence": {CREW, CONTRACTOR},
    "read_evidence": {CONTRACTOR, ENGINEER},
    "withdraw_records": {CONTRACTOR, ENGINEER},
    "replace_record": {CREW, CONTRACTOR},
    "read_acceptance": READERS,
    "read_project_acceptance": READERS,
    "read_fibre": READERS,
    "read_findings": READERS,
    "read_suspicions": {CONTRACTOR, ENGINEER},
    "read_worklist": READERS,
    "read_work_items": READERS,
    "submit": {CONTRACTOR},
    "read_submission": {CONTRACTOR, ENGINEER},
    "read_package": {CONTRACTOR, ENGINEER, BILLING},
    "read_pdf": {CONTRACTOR, ENGINEER},
    "read_archive": {CONTRACTOR, ENGINEER},
    "read_package_findings": {CONTRACTOR, ENGINEER},
    "upload_signature": {CONTRACTOR, ENGINEER},
    "read_upload": {CONTRACTOR, ENGINEER},
    "decide": {ENGINEER},
    "notice_defect": {ENGINEER},
    "read_notices": {BILLING},
}
WRONG = [(name, kind) for name, kinds in MAY.items() for kind in TokenKind if kind not in kinds]
THINGS = ("project_id", "route_id", "submission_id", "package_id", "trial_id", "upload_id")
ABOUT_A_THING = [name for name in MAY if any(f"{{{thing}}}" in OPERATIONS[name][1] for thing in THINGS)]


@pytest.fixture(scope="module")
def world(open_world: OpenWorld) -> World:
    return open_world("decided")


@pytest.fixture(scope="module")
def stranger(world: World) -> World:
    """The holder of tokens of another project on the same service."""
    other = replace(world, tokens={ADMINISTRATOR: world.tokens[ADMINISTRATOR]})
    project = {"code": "TFN-2026-9", "name": "Reedmere", "owner": "Reedmere Trust", "contractor": "Sorrel Cable"}
    open_project(other, project=project, people={})
    return replace(other, project_id=world.project_id)


def good_example(name: str) -> dict[str, Any]:
    return next(dict(example) for example in read_examples()[name].values() if example["status"] < 400)


def ask(world: World, name: str, kind: TokenKind | None, **changes: Any) -> httpx.Response:
    method, path, _ = OPERATIONS[name]
    example = good_example(name) | {"as": kind}
    example["path"] = example.get("path", {}) | changes
    return perform(world, method.upper(), path, example)


def kinds_of(dependant: Dependant) -> set[TokenKind]:
    own = dependant.call.kinds if isinstance(dependant.call, Allow) else frozenset()
    return set(own).union(*(kinds_of(one) for one in dependant.dependencies))


def test_every_operation_declares_who_may_and_only_health_and_codes_let_everybody(world: World) -> None:
    operations: list[APIRoute] = world.app.state.operations
    declared = {one.name: kinds_of(one.dependant) for one in operations}
    assert declared == {**MAY, "live": set(), "ready": set(), "verify_package": set()}


@pytest.mark.parametrize(("name", "kind"), WRONG)
def test_a_wrong_kind_of_token_is_refused(world: World, name: str, kind: TokenKind) -> None:
    assert refusal(ask(world, name, kind), 403)["type"].endswith("token.wrong_kind")


@pytest.mark.parametrize("name", MAY)
def test_without_a_token_nothing_is_looked_at(world: World, name: str) -> None:
    method, path, _ = OPERATIONS[name]
    nothing = dict.fromkeys(("project_id", "route_id", "package_id", "submission_id", "record_id", "trial_id"), "no-id")
    url = path.format(
        **nothing,
        token_id="x",
        person_id="x",
        sha256="x",
        role="x",
        upload_id="x",
        version="x",
        number="x",
        revision="x",
    )
    content = {"content": b"[]", "headers": {"content-type": "application/json"}} if method in {"post", "put"} else {}
    answer = world.http.request(method, url, **content)  # type: ignore[arg-type]
    assert refusal(answer, 401)["type"].endswith("token.invalid")


@pytest.mark.parametrize("name", ABOUT_A_THING)
def test_a_token_of_another_project_finds_nothing(stranger: World, world: World, name: str) -> None:
    for kind in MAY[name] - {ADMINISTRATOR}:
        # The example's ids are looked up as one who may see them, then asked for as one who may not.
        outsider = _SeenByBoth(world, stranger, kind)
        assert refusal(ask(outsider, name, kind), 404)["type"].endswith("not_found")


class _SeenByBoth(World):
    """A world whose ids come from its parties while a stranger of one kind acts."""

    def __init__(self, world: World, stranger: World, acting: TokenKind) -> None:
        super().__init__(**vars(world))
        self._stranger_token, self._acting, self._is_looking = stranger.tokens[acting], acting, False

    def call(self, kind: TokenKind, method: str, path: str, **how: Any) -> httpx.Response:
        if not self._is_looking:
            how["headers"] = {**how.get("headers", {}), "Authorization": f"Bearer {self._stranger_token}"}
            return self.http.request(method, path, **how)
        return super().call(kind, method, path, **how)

    def ask(self, kind: TokenKind, method: str, path: str, **how: Any) -> Any:
        self._is_looking = True
        try:
            return super().ask(kind, method, path, **how)
        finally:
            self._is_looking = False


@pytest.mark.parametrize("value", ["6f1d3c52-8a0e-4b7a-9c35-2d7e1b60f4a9", "no-id", "0", "%00", "é"])
@pytest.mark.parametrize("name", ABOUT_A_THING)
def test_what_is_not_there_is_not_found(world: World, name: str, value: str) -> None:
    thing = next(thing for thing in THINGS if f"{{{thing}}}" in OPERATIONS[name][1])
    refusal(ask(world, name, min(MAY[name]), **{thing: value}), 404)


@pytest.mark.parametrize("value", ["0", "25", "-1", "x", "9" * 30, "9" * 5000])
def test_a_fibre_or_a_version_that_is_not_there_is_not_found(world: World, value: str) -> None:
    refusal(ask(world, "read_fibre", CREW, number=value), 404)
    refusal(ask(world, "read_criteria", CREW, version=value), 404)


def test_every_bad_token_gets_the_same_answer(fresh_world: OpenWorld) -> None:
    world = fresh_world("bound")
    text, revoked, expired = (_issue(world, **form) for form in ({}, {}, {"expires_at": _in(minutes=1)}))
    world.ask(ADMINISTRATOR, "DELETE", f"/v1/tokens/{revoked['id']}")
    good = text["token"]
    other_end = "A" if good[-1] != "A" else "B"
    headers = [
        None,
        "Bearer",
        f"Basic {good}",
        good,
        f"Bearer {good[:-1]}",
        f"Bearer {good[:-1]}{other_end}",
        f"Bearer {good.replace('crew', 'engineer')}",
        f"Bearer {good.replace('acc_', 'tok_')}",
        f"Bearer {_new_text(TokenKind.CREW)}",
        f"Bearer {revoked['token']}",
        f"Bearer {expired['token']}",
        f"Bearer {'x' * 5000}",
        b"Bearer acc_crew_\xe9\xe9",
    ]
    world.app.state.clock = lambda: datetime.now(UTC) + timedelta(minutes=1)
    path = f"/v1/projects/{world.project_id}"
    answers = [world.http.get(path, headers={} if one is None else {"Authorization": one}) for one in headers]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.content for answer in answers}) == 1
    assert {answer.headers["www-authenticate"] for answer in answers} == {'Bearer error="invalid_token"'}
    assert world.http.get(path, headers={"Authorization": f"Bearer {good}"}).is_success


def test_a_token_in_the_query_opens_nothing(world: World) -> None:
    path = f"/v1/projects/{world.project_id}"
    answer = world.http.get(path, params={"access_token": world.tokens[CREW]})
    assert answer.status_code in {400, 401}
    assert world.tokens[CREW] not in answer.text


def test_a_token_is_kept_as_its_digest_only(world: World) -> None:
    text = _issue(world)["token"]
    with world.engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT t::text FROM token t").scalars().all()
    assert len(rows) >= 6
    assert all(text not in row for row in rows)


def test_a_token_names_each_project_once_however_often_it_is_listed(world: World) -> None:
    projects = [world.project_id, world.project_id]
    assert UUID(_issue(world, projects=projects)["id"])


def test_a_token_for_a_project_that_is_not_there_is_refused_by_name(world: World) -> None:
    form = {"kind": "crew", "projects": [world.project_id, str(uuid4())]}
    problem = refusal(world.call(ADMINISTRATOR, "POST", "/v1/tokens", json=form), 422)
    assert [one["pointer"] for one in problem["errors"]] == ["/projects/1"]


def _issue(world: World, **changes: Any) -> Any:
    form = {"kind": "crew", "projects": [world.project_id], **changes}
    return world.ask(ADMINISTRATOR, "POST", "/v1/tokens", json=form)


def _in(*, minutes: float) -> str:
    return (datetime.now(UTC) + timedelta(minutes=minutes)).isoformat()
