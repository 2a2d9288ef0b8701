"""A party that does not give up: what is not answered is asked again."""

import threading
import time
from typing import Any

import httpx

from service.vocabulary.words import TokenKind

PATIENCE_S = 600.0
_PAUSE_S = 0.1


class NotAnsweredError(Exception):
    """The service gave no answer for longer than any fault of the run lasts, or the run was given up."""


class Patient:
    """One party's way to the service; a new connection after each failure."""

    def __init__(self, base_url: str, tokens: dict[TokenKind, str], *, given_up: threading.Event) -> None:
        self._http = httpx.Client(base_url=base_url, timeout=30)
        self._tokens, self._given_up = tokens, given_up
        self.tries_again = 0

    def call(self, kind: TokenKind, method: str, path: str, **how: Any) -> httpx.Response:
        """Ask until there is an answer that is no excuse; a refusal is an answer."""
        headers = {"Authorization": f"Bearer {self._tokens[kind]}", **how.pop("headers", {})}
        give_up_at = time.monotonic() + PATIENCE_S
        while time.monotonic() < give_up_at and not self._given_up.is_set():
            try:
                answer = self._http.request(method, path, headers=headers, **how)
            except httpx.TransportError:
                pass
            else:
                if answer.status_code < httpx.codes.INTERNAL_SERVER_ERROR:
                    return answer
            self.tries_again += 1
            time.sleep(_PAUSE_S)
        raise NotAnsweredError(f"{method} {path}")

    def ask(self, kind: TokenKind, method: str, path: str, **how: Any) -> Any:
        """Ask for what must be granted."""
        answer = self.call(kind, method, path, **how)
        assert answer.is_success, (path, answer.status_code, answer.text)
        return answer.json()

    def close(self) -> None:
        """Let go of the connection."""
        self._http.close()


class Progress:
    """How many records were answered, and how far the crews may go before the next fault."""

    def __init__(self, *, crews: int) -> None:
        self._changed = threading.Condition()
        self._answered, self._allowed, self._present = 0, 0, crews
        self.last_answer_at = time.monotonic()

    def add(self, count: int) -> None:
        """Count records that were answered, and wait where the next fault is due."""
        with self._changed:
            self._answered += count
            self.last_answer_at = time.monotonic()
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._answered <= self._allowed, timeout=PATIENCE_S)

    def leave(self) -> None:
        """Say that a crew has come to its end."""
        with self._changed:
            self._present -= 1
            self._changed.notify_all()

    def await_count(self, count: int) -> None:
        """Let the crews go so far, and wait until they are there, or have all left."""
        with self._changed:
            self._allowed = max(self._allowed, count)
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._answered >= count or self._present == 0, timeout=PATIENCE_S)

    def let_go(self) -> None:
        """Let the crews go to their end."""
        with self._changed:
            self._allowed = 2**63
            self._changed.notify_all()
