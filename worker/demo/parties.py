"""The parties of the demo's story, each over HTTP with a token of its own."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from service.vocabulary.words import TokenKind
from worker.demo.scenario import load_field_client, read_scenario

# The holders of the two tokens that belong to a person.
HOLDERS = {TokenKind.CONTRACTOR: "p-1c9", TokenKind.ENGINEER: "p-9e6"}
# A machine that does other work besides takes its time to sign.
_PATIENCE_S = 120.0


class StoryBrokenError(RuntimeError):
    """Something in the story did not come out as it must."""


def expect(condition: object, what: str) -> None:
    """Stop the story where a claim of it does not hold."""
    if not condition:
        raise StoryBrokenError(what)


@dataclass
class Parties:
    """Field app, contractor, engineer and billing, and the route they meet on."""

    http: httpx.Client
    tokens: dict[TokenKind, str]
    project_id: str = ""
    route_id: str = ""

    def call(self, kind: TokenKind, method: str, path: str, **how: Any) -> httpx.Response:
        """Ask as one party; a refusal is an answer like any other."""
        headers = {"Authorization": f"Bearer {self.tokens[kind]}", **how.pop("headers", {})}
        return self.http.request(method, path, headers=headers, **how)

    def ask(self, kind: TokenKind, method: str, path: str, **how: Any) -> Any:
        """Ask as one party for what must be granted."""
        answer = self.call(kind, method, path, **how)
        expect(answer.is_success, f"{kind} {method} {path}: {answer.status_code} {answer.text}")
        return answer.json() if answer.content else None

    def status(self) -> Any:
        """Return the route's acceptance status, once everything recorded is judged."""
        path = f"/v1/routes/{self.route_id}/acceptance"
        return self.wait_for(TokenKind.CONTRACTOR, path, lambda status: bool(status["is_judged"]))

    def worklist(self, act: str | None = None) -> list[Any]:
        """Return the orders of the work list, of an act if one is named, once everything recorded is judged."""
        path = f"/v1/routes/{self.route_id}/worklist"
        body = self.wait_for(TokenKind.CREW, path, lambda answer: answer["fibres_waiting"] == 0)
        return [order for order in body["orders"] if act in {None, order["act"]}]

    def follow(self, kind: TokenKind, accepted: httpx.Response, is_done: Callable[[Any], bool]) -> Any:
        """Look at what a request began until it is done."""
        expect(accepted.status_code == 202, accepted.text)
        return self.wait_for(kind, accepted.headers["Location"], is_done)

    def wait_for(self, kind: TokenKind, path: str, is_there: Callable[[Any], bool]) -> Any:
        """Look again and again, as one party, until something is there."""
        give_up_at = time.monotonic() + _PATIENCE_S
        while True:
            seen = self.ask(kind, "GET", path)
            if is_there(seen):
                return seen
            expect(time.monotonic() < give_up_at, f"nothing came within {_PATIENCE_S:.0f} s")
            time.sleep(0.05)

    def field_app(self, folder: Path) -> Any:
        """Return a crew's field app with its queue in a folder."""
        client = load_field_client().FieldClient
        return client(folder, self.http, route=self.route_id, token=self.tokens[TokenKind.CREW])


def open_project(http: httpx.Client, administrator: str) -> Parties:
    """Open the demo's project, with a token for each party and a name for each person."""
    parties = Parties(http=http, tokens={TokenKind.ADMINISTRATOR: administrator})
    project = parties.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/projects", json=read_scenario("project"))
    parties.project_id = project["id"]
    for kind in (TokenKind.CREW, TokenKind.CONTRACTOR, TokenKind.ENGINEER, TokenKind.BILLING):
        form = {"kind": kind, "projects": [parties.project_id], "holder": HOLDERS.get(kind)}
        parties.tokens[kind] = parties.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/tokens", json=form)["token"]
    for person_id, person in read_scenario("people").items():
        path = f"/v1/projects/{parties.project_id}/people/{person_id}"
        side = TokenKind.ENGINEER if person_id == HOLDERS[TokenKind.ENGINEER] else TokenKind.CONTRACTOR
        parties.ask(side, "PUT", path, json=person)
    return parties


def agree_on_criteria(parties: Parties) -> int:
    """Describe the route, agree to its design, set criteria and bind the route to them; return their version."""
    project = f"/v1/projects/{parties.project_id}"
    route = parties.ask(TokenKind.CONTRACTOR, "POST", f"{project}/routes", json=read_scenario("route"))
    parties.route_id = route["id"]
    agreement = f"/v1/routes/{parties.route_id}/design/agreement"
    parties.ask(TokenKind.ENGINEER, "PUT", agreement, json={"revision": route["proposed_design_revision"]})
    criteria = parties.ask(TokenKind.ENGINEER, "POST", f"{project}/criteria", json=read_scenario("criteria"))
    version: int = criteria["version"]
    binding, form = f"/v1/routes/{parties.route_id}/criteria", {"version": version}
    parties.ask(TokenKind.ENGINEER, "PUT", binding, json=form)
    parties.ask(TokenKind.CONTRACTOR, "PUT", f"{binding}/acknowledgement", json=form)
    return version
