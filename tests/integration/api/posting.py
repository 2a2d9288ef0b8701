"""An example of `openapi_examples/` put into action: its sample values stand for those of a world."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import httpx
import orjson

from service.api.openapi import read_examples
from service.vocabulary.words import TokenKind
from tests.world import World

SAMPLES: Mapping[str, str] = orjson.loads(
    (Path(__file__).parents[3] / "openapi_examples" / "samples.json").read_bytes()
)

_JUDGED = ("verdict_digest", "submission_id", "package_id", "package_sha256", "current_sha256", "code", "upload_id")


def perform(world: World, method: str, path: str, example: Mapping[str, Any]) -> httpx.Response:
    """Ask what an example asks, with the world's ids and digests in place of the samples."""
    names = re.findall(r"{(\w+)}", path)
    asked: dict[str, Any] = {
        "path": {name: SAMPLES[name] for name in names if name in SAMPLES} | example.get("path", {}),
        **{part: example[part] for part in ("query", "headers", "body") if part in example},
    }
    text = orjson.dumps(asked).decode()
    for name, value in _live_values(world, text).items():
        text = text.replace(SAMPLES[name], value)
    live = orjson.loads(text)
    how = {
        key: live[part] for part, key in (("query", "params"), ("body", "json"), ("headers", "headers")) if part in live
    }
    if isinstance(live.get("body"), str):
        how["content"] = how.pop("json").encode()
        how["headers"] = {"Content-Type": "application/pdf", **how.get("headers", {})}
    url = path.format(**live["path"])
    if example["as"] is None:
        return world.http.request(method, url, **how)
    return world.call(TokenKind(example["as"]), method, url, **how)


def same_shape(answer: Any, shown: Any) -> bool:
    """Tell whether an answer has the members that an example shows; a list shows some of the answer's items."""
    if isinstance(shown, dict):
        return (
            isinstance(answer, dict)
            and answer.keys() == shown.keys()
            and all(same_shape(answer[name], shown[name]) for name in shown)
        )
    if isinstance(shown, list):
        return isinstance(answer, list) and all(any(same_shape(one, item) for one in answer) for item in shown)
    return (answer is None) == (shown is None) and isinstance(answer, type(shown) | int | float)


def _live_values(world: World, text: str) -> dict[str, str]:
    values = {"project_id": world.project_id, "route_id": world.route_id}
    if SAMPLES["token_id"] in text:
        form = {"kind": "crew", "projects": [world.project_id]}
        values["token_id"] = world.ask(TokenKind.ADMINISTRATOR, "POST", "/v1/tokens", json=form)["id"]
    if SAMPLES["certificate_sha256"] in text:
        path = f"/v1/projects/{world.project_id}/people/p-9e6/certificates"
        values["certificate_sha256"] = world.ask(TokenKind.ENGINEER, "GET", path)["certificates"][0]["sha256"]
    if SAMPLES["trial_id"] in text:
        form = {"route_id": world.route_id, "criteria": read_examples()["set_criteria"]["set"]["body"]}
        path = f"/v1/projects/{world.project_id}/criteria/trial"
        values["trial_id"] = world.ask(TokenKind.ENGINEER, "POST", path, json=form)["id"]
        world.drain()
    if any(SAMPLES[name] in text for name in _JUDGED):
        values |= _judged_values(world, text)
    return values


def _judged_values(world: World, text: str) -> dict[str, str]:
    status = world.status()
    segment = status["segments"][0]
    values = {"verdict_digest": status["verdict_digest"], "submission_id": segment["submission_id"]}
    if segment["package_id"] is not None:
        package = world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{segment['package_id']}")
        values |= {
            "package_id": package["id"],
            "package_sha256": package["certified_sha256"],
            "current_sha256": package["current_sha256"],
            "code": package["verification_code"],
        }
    if SAMPLES["upload_id"] in text:
        with world.engine.connect() as connection:
            values["upload_id"] = str(connection.exec_driver_sql("SELECT id FROM signature_upload").scalars().one())
    return {name: value for name, value in values.items() if value is not None}
