"""The contractor submits each finished route, the engineer accepts it; answers may be lost at any moment."""

import queue
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import httpx

from service.vocabulary.words import TokenKind
from tests.soak.faults.client import PATIENCE_S, Patient
from tests.soak.faults.site import SoakRoute

_LOOK_EVERY_S = 0.2
_SEGMENT = "SEG1"


@dataclass(kw_only=True)
class Office:
    """Takes routes until there is no more, and remembers what did not come out as it must."""

    connect: Callable[[], Patient]
    finished: "queue.SimpleQueue[SoakRoute | None]"
    find_submission: Callable[[str], str | None]
    accepted: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)

    def work(self) -> None:
        """Bring every route to its acceptance."""
        client = self.connect()
        try:
            while (route := self.finished.get()) is not None:
                problem = self._accept(client, route)
                if problem is None:
                    self.accepted.append(route.id)
                else:
                    self.problems.append(f"route {route.id}: {problem}")
        finally:
            client.close()

    def _accept(self, client: Patient, route: SoakRoute) -> str | None:
        submission_id = self._submit(client, route)
        if submission_id is None:
            return "it could not be submitted"
        path = f"/v1/submissions/{submission_id}"
        issued = _wait_for(
            lambda: client.ask(TokenKind.CONTRACTOR, "GET", path), lambda answer: answer["state"] != "queued"
        )
        if issued is None or issued["state"] != "issued":
            return f"no package was issued: {issued}"
        return self._decide(client, issued["package_id"])

    def _submit(self, client: Patient, route: SoakRoute) -> str | None:
        give_up_at = time.monotonic() + PATIENCE_S
        path = f"/v1/routes/{route.id}"
        while time.monotonic() < give_up_at:
            status = client.ask(TokenKind.CONTRACTOR, "GET", f"{path}/acceptance")
            if status["is_judged"]:
                form = {
                    "segments": [_SEGMENT],
                    "verdict_digest": status["verdict_digest"],
                    "responsible_person": "p-1c9",
                }
                answer = client.call(TokenKind.CONTRACTOR, "POST", f"{path}/submissions", json=form)
                if answer.is_success:
                    return str(answer.json()["id"])
                # The answer before was lost, or more was judged meanwhile.
                assert answer.status_code == httpx.codes.CONFLICT, answer.text
                found = self.find_submission(route.id)
                if found is not None:
                    return found
            time.sleep(_LOOK_EVERY_S)
        return None

    def _decide(self, client: Patient, package_id: str) -> str | None:
        path = f"/v1/packages/{package_id}"
        give_up_at = time.monotonic() + PATIENCE_S
        while time.monotonic() < give_up_at:
            seen = client.call(TokenKind.ENGINEER, "GET", path)
            package = seen.json()
            form = {"package_sha256": package["certified_sha256"], "segments": {_SEGMENT: "accepted"}}
            headers = {"If-Match": seen.headers["ETag"]}
            answer = client.call(TokenKind.ENGINEER, "POST", f"{path}/decision", json=form, headers=headers)
            if answer.is_success:
                return None
            if answer.status_code != httpx.codes.PRECONDITION_FAILED:
                return f"the decision was refused: {answer.text}"
        return "it could not be decided"


def _wait_for(look: Callable[[], Any], is_there: Callable[[Any], bool]) -> Any:
    give_up_at = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up_at:
        seen = look()
        if is_there(seen):
            return seen
        time.sleep(_LOOK_EVERY_S)
    return None
