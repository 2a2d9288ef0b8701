"""Every example of `openapi_examples/`, posted: status, members and schema of the answer are those it shows."""

from collections.abc import Mapping
from typing import Any

import orjson
import pytest

from service.api.openapi import read_examples
from tests.integration.api.acts import PHOTOGRAPH, PROBLEM
from tests.integration.api.conftest import OpenWorld
from tests.integration.api.posting import perform, same_shape
from tests.unit.api.test_document import DOCUMENT, OPERATIONS, faults
from tests.world import World

BEGINNINGS = {"application/pdf": b"%PDF-", "application/zip": b"PK", "image/jpeg": PHOTOGRAPH}
CASES = {
    f"{name}/{case}": (name, example) for name, cases in read_examples().items() for case, example in cases.items()
}
# What reads or is refused leaves a world as it was, so these share one.
CHANGING = [case for case, (name, one) in CASES.items() if one["status"] < 400 and OPERATIONS[name][0] != "get"]
KEEPING = [case for case in CASES if case not in CHANGING]


@pytest.fixture(scope="module")
def shared(open_world: OpenWorld) -> Mapping[str, World]:
    return {state: open_world(state) for state in {CASES[case][1]["state"] for case in KEEPING}}


@pytest.mark.parametrize("case", KEEPING)
def test_what_reads_or_is_refused_answers_as_shown(shared: Mapping[str, World], case: str) -> None:
    check(shared[CASES[case][1]["state"]], *CASES[case])


@pytest.mark.parametrize("case", CHANGING)
def test_what_changes_something_answers_as_shown(fresh_world: OpenWorld, case: str) -> None:
    check(fresh_world(CASES[case][1]["state"]), *CASES[case])


def check(world: World, name: str, example: dict[str, Any]) -> None:
    method, path, operation = OPERATIONS[name]
    answer = perform(world, method.upper(), path, example)
    assert answer.status_code == example["status"], answer.text
    responses = operation["responses"]
    response = responses.get(str(answer.status_code), responses["default"])
    if not answer.content:
        assert "content" not in response
        return
    media = answer.headers["content-type"].partition(";")[0]
    assert (media == PROBLEM) == (answer.status_code >= 400)
    if media in BEGINNINGS:
        assert answer.content.startswith(BEGINNINGS[media])
        return
    content = orjson.loads(answer.content)
    assert faults(response["content"][media].get("schema", {}), content) == []
    assert "answer" not in example or same_shape(content, example["answer"]), (content, example["answer"])
    for header in response.get("headers", {}):
        assert header in answer.headers or header == "Link"


def test_the_examples_are_posted_to_the_document_that_is_served(shared: Mapping[str, World]) -> None:
    assert shared["judged"].http.get("/openapi.json").json() == DOCUMENT
