"""A field app's side of posting records, whole: a queue on disk, batches, and what to do with each answer.

The rules, which are all there is to writing a field app:

1. Give a record its id when it is made, and write it to disk before anything else. The id never changes.
2. Send what waits as whole batches, as often as you like: the service stores a record once, however often it comes.
3. An answer may be lost after the records were stored. Send the same batch again; it says `already_stored`.
4. `conflict` and `refused` need a person: the record is held with the reason, and the others go on.
5. Anything else, no network, 429, 5xx, keeps the queue as it is; wait as the service asks, or longer each time.
"""

import json
import os
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx

BATCH = 200
PAUSES_S = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0)


class FieldClient:
    """Records on their way from one device to one route; `http` carries the service's base URL."""

    def __init__(
        self, folder: Path, http: httpx.Client, *, route: str, token: str, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self._waiting, self._held = folder / "waiting", folder / "held"
        self._waiting.mkdir(parents=True, exist_ok=True)
        self._held.mkdir(exist_ok=True)
        self._http, self._sleep = http, sleep
        self._url, self._headers = f"/v1/routes/{route}/records", {"Authorization": f"Bearer {token}"}

    def add(self, record: dict[str, Any]) -> None:
        """Put a record on disk, where it survives a flat battery.

        Raises
        ------
        FileExistsError
            If a record with this id waits or is held; a corrected record is another one and has its own id.
        """
        path = self._waiting / f"{UUID(record['id'])}.json"
        if path.exists() or (self._held / path.name).exists():
            raise FileExistsError(f"there is a record {record['id']} already")
        _write(path, record)

    def send(self) -> int:
        """Send batch after batch; return how many records still wait because the service could not take them."""
        while waiting := _oldest_first(self._waiting):
            batch = waiting[:BATCH]
            records = [json.loads(path.read_bytes()) for path in batch]
            if (results := self._post(records)) is None:
                return len(waiting)
            for path, record, result in zip(batch, records, results, strict=True):
                if result["outcome"] not in {"stored", "already_stored"}:
                    _write(self._held / path.name, {"record": record, "problem": result.get("problem")})
                path.unlink()
        return 0

    def held(self) -> list[dict[str, Any]]:
        """Return the records that a person has to look at, each with the service's problem."""
        return [json.loads(path.read_bytes()) for path in _oldest_first(self._held)]

    def _post(self, records: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
        """Post one batch until it is answered: one result per record in the same order, or None for no answer."""
        for pause_s in PAUSES_S:
            body = {"sent_at": datetime.now(UTC).isoformat(), "records": records}
            try:
                response = self._http.post(self._url, json=body, headers=self._headers)
            except httpx.TransportError:
                self._sleep(pause_s)
                continue
            if response.status_code != 429 and response.status_code < 500:
                # A wrong token or route: every record stays, and trying again would not help.
                return list(response.raise_for_status().json()["results"])
            asked_s = response.headers.get("Retry-After", "")
            self._sleep(float(asked_s) if asked_s.isdecimal() else pause_s)
        return None


def _oldest_first(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.json"), key=lambda path: path.stat().st_mtime_ns)


def _write(path: Path, document: dict[str, Any]) -> None:
    """Write a file so that it is there whole or not at all."""
    part = path.with_suffix(".part")
    with part.open("w") as file:
        json.dump(document, file)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
