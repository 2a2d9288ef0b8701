"""A project with its people, tokens, criteria and a route, reached over HTTP as each party reaches it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import orjson
from fastapi import FastAPI
from sqlalchemy import Engine

from service.actions.access.tokens import TokenForm, issue_token
from service.settings import WorkerSettings
from service.storage.jobs import claim_hints
from service.storage.session import transaction
from service.vocabulary.words import TokenKind
from worker.jobs.context import StepContext
from worker.jobs.runner import run_job
from worker.tasks import STEPS, make_context

DEMO = Path(__file__).parents[1] / "openapi_examples" / "demo"


def read_demo(name: str) -> Any:
    """Return a file of the demo scenario."""
    return orjson.loads((DEMO / f"{name}.json").read_bytes())


@dataclass
class World:
    """One project on one database; `token` and `http` stand for whoever acts."""

    settings: WorkerSettings
    http: httpx.Client
    app: FastAPI
    context: StepContext
    project_id: str = ""
    route_id: str = ""
    tokens: dict[TokenKind, str] = field(default_factory=dict)

    @property
    def engine(self) -> Engine:
        return self.context.engine

    def call(self, kind: TokenKind, method: str, path: str, **how: Any) -> httpx.Response:
        """Ask as the holder of a kind of token."""
        headers = {"Authorization": f"Bearer {self.tokens[kind]}", **how.pop("headers", {})}
        return self.http.request(method, path, headers=headers, **how)

    def ask(self, kind: TokenKind, method: str, path: str, **how: Any) -> Any:
        """Ask and return the answer, which must not be a refusal."""
        answer = self.call(kind, method, path, **how)
        assert answer.is_success, (answer.status_code, answer.text)
        return answer.json() if answer.content else None

    def post_records(self, records: Sequence[Mapping[str, Any]], *, sent_at: datetime | None = None) -> Any:
        """Post records as the crew's app does, and return what became of each."""
        body = {"sent_at": (sent_at or datetime.now(UTC)).isoformat(), "records": list(records)}
        return self.ask(TokenKind.CREW, "POST", f"/v1/routes/{self.route_id}/records", json=body)

    def record(self, records: Sequence[Mapping[str, Any]]) -> None:
        """Post records that are all taken, and do what follows from them."""
        assert self.post_records(records)["failed"] == 0
        self.drain()

    def submit(self, segments: Sequence[str] = ("SEG1",), **changes: Any) -> httpx.Response:
        """Ask for a package of segments, on the strength of the current verdict."""
        form = {
            "segments": list(segments),
            "verdict_digest": self.status()["verdict_digest"],
            "responsible_person": "p-1c9",
            **changes,
        }
        return self.call(TokenKind.CONTRACTOR, "POST", f"/v1/routes/{self.route_id}/submissions", json=form)

    def drain(self) -> int:
        """Do every job that is due, in this process, until none is; return how many there were."""
        done = 0
        while True:
            with transaction(self.engine) as session:
                hints = claim_hints(session, again_after=self.again_after)
            if not hints:
                return done
            for job_id, kind in hints:
                run_job(self.context, STEPS[kind], job_id)
                done += 1

    @property
    def again_after(self) -> timedelta:
        return timedelta(seconds=self.settings.hint_again_s)

    def status(self) -> Any:
        return self.ask(TokenKind.CONTRACTOR, "GET", f"/v1/routes/{self.route_id}/acceptance")

    def worklist(self) -> list[Any]:
        items: list[Any] = self.ask(TokenKind.CREW, "GET", f"/v1/routes/{self.route_id}/worklist/items?limit=500")[
            "items"
        ]
        return items


def make_world(settings: WorkerSettings, http: httpx.Client, app: FastAPI) -> World:
    """Return a world with an administrator and nothing else yet."""
    world = World(settings=settings, http=http, app=app, context=make_context(settings))
    with transaction(world.engine) as session:
        form = TokenForm(kind=TokenKind.ADMINISTRATOR)
        _, text = issue_token(session, form, now=datetime.now(UTC), issuer=None)
    world.tokens[TokenKind.ADMINISTRATOR] = text
    return world


def open_project(world: World, *, project: Any, people: Any) -> None:
    """Open a project with its people and a token of each kind."""
    world.project_id = world.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/projects", json=project)["id"]
    for kind in (TokenKind.CREW, TokenKind.CONTRACTOR, TokenKind.ENGINEER, TokenKind.BILLING):
        holder = {"engineer": "p-9e6", "contractor": "p-1c9"}.get(kind.value)
        form = {"kind": kind.value, "projects": [world.project_id], "holder": holder}
        world.tokens[kind] = world.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    for person_id, person in people.items():
        path = f"/v1/projects/{world.project_id}/people/{person_id}"
        kind = TokenKind.ENGINEER if person_id == "p-9e6" else TokenKind.CONTRACTOR
        world.ask(kind, "PUT", path, json=person)


def describe_route(world: World, *, design: Any, criteria: Any) -> UUID:
    """Describe a route, agree to its design, and bind it to criteria."""
    path = f"/v1/projects/{world.project_id}"
    world.route_id = world.ask(TokenKind.CONTRACTOR, "POST", f"{path}/routes", json=design)["id"]
    world.ask(TokenKind.ENGINEER, "PUT", f"/v1/routes/{world.route_id}/design/agreement", json={"revision": 1})
    version = world.ask(TokenKind.ENGINEER, "POST", f"{path}/criteria", json=criteria)["version"]
    binding = f"/v1/routes/{world.route_id}/criteria"
    world.ask(TokenKind.ENGINEER, "PUT", binding, json={"version": version})
    world.ask(TokenKind.CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": version})
    return UUID(world.route_id)


def propose_design(world: World, design: Any) -> Any:
    """Propose a design for the world's route, having seen the one that it has."""
    path = f"/v1/routes/{world.route_id}/design"
    seen = world.call(TokenKind.CONTRACTOR, "GET", path).headers["ETag"]
    return world.ask(TokenKind.CONTRACTOR, "PUT", path, json=design, headers={"If-Match": seen})
