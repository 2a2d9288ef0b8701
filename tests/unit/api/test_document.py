"""The OpenAPI document: valid, committed as it is served, with examples that keep to its own schemas."""

from typing import Any

import orjson
import pytest
from openapi_schema_validator import OAS31Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from service.api.openapi import read_examples
from tests.write_openapi import KEPT, served_document, written

DOCUMENT = served_document()
PROBLEM = "application/problem+json"
OPERATIONS = {
    operation["operationId"]: (method, path, operation)
    for path, operations in DOCUMENT["paths"].items()
    for method, operation in operations.items()
}
TAKING_JSON = [
    name
    for name, (_, _, operation) in OPERATIONS.items()
    if "application/json" in operation.get("requestBody", {}).get("content", {})
]
TAKING_FILES = {
    "upload_signature": ["application/pdf"],
    "send_evidence": ["image/jpeg", "image/png", "application/pdf", "application/octet-stream"],
}
EXAMPLES = [(name, case, example) for name, cases in read_examples().items() for case, example in cases.items()]
IDS = [f"{name}/{case}" for name, case, _ in EXAMPLES]


def faults(schema: dict[str, Any], value: Any) -> list[str]:
    """Return what a value breaks of a schema of the document."""
    validator = OAS31Validator({**schema, "components": DOCUMENT["components"]})
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(value)]


def test_the_document_is_valid_openapi_3_1() -> None:
    assert DOCUMENT["openapi"].startswith("3.1.")
    assert list(OpenAPIV31SpecValidator(DOCUMENT).iter_errors()) == []


def test_the_committed_document_is_the_served_one() -> None:
    assert KEPT.read_bytes() == written(DOCUMENT), "make examples writes it anew"


def test_each_operation_has_a_name_of_its_own() -> None:
    assert len(OPERATIONS) == sum(len(operations) for operations in DOCUMENT["paths"].values())
    assert all(name.isidentifier() for name in OPERATIONS)


@pytest.mark.parametrize("name", OPERATIONS)
def test_each_operation_asks_for_a_token_except_health_and_what_a_code_opens(name: str) -> None:
    _, path, operation = OPERATIONS[name]
    assert ("security" in operation) != path.startswith(("/health/", "/v1/verifications/"))


@pytest.mark.parametrize("name", OPERATIONS)
def test_each_operation_answers_a_refusal_as_a_problem(name: str) -> None:
    content = OPERATIONS[name][2]["responses"]["default"]["content"]
    assert {media: entry["schema"] for media, entry in content.items()} == {
        PROBLEM: {"$ref": "#/components/schemas/Problem"}
    }


@pytest.mark.parametrize("name", OPERATIONS)
def test_each_operation_that_changes_something_describes_its_body(name: str) -> None:
    method, _, operation = OPERATIONS[name]
    assert ("requestBody" in operation) == (method in {"post", "put"})
    if "requestBody" in operation:
        assert operation["requestBody"]["required"]
        media = TAKING_FILES.get(name, ["application/json"])
        assert list(operation["requestBody"]["content"]) == media


def test_the_framework_s_own_form_of_an_error_is_nowhere() -> None:
    assert "ValidationError" not in orjson.dumps(DOCUMENT).decode()


def test_every_folder_of_examples_is_an_operation_and_every_operation_has_one_that_succeeds() -> None:
    succeeding = {name for name, _, example in EXAMPLES if example["status"] < 400}
    assert set(read_examples()) == set(OPERATIONS)
    assert succeeding == set(OPERATIONS)


@pytest.mark.parametrize(("name", "case", "example"), EXAMPLES, ids=IDS)
def test_an_example_s_body_keeps_to_the_schema(name: str, case: str, example: dict[str, Any]) -> None:
    operation = OPERATIONS[name][2]
    assert ("body" in example) == ("requestBody" in operation)
    if "body" in example:
        for media in operation["requestBody"]["content"].values():
            assert faults(media["schema"], example["body"]) == []


@pytest.mark.parametrize(("name", "case", "example"), EXAMPLES, ids=IDS)
def test_an_example_s_answer_keeps_to_the_schema(name: str, case: str, example: dict[str, Any]) -> None:
    responses = OPERATIONS[name][2]["responses"]
    response = responses.get(str(example["status"]), responses["default"])
    assert example["status"] >= 400 or str(example["status"]) in responses
    if "answer" in example:
        media = response["content"].get("application/json") or response["content"][PROBLEM]
        assert faults(media["schema"], example["answer"]) == []


@pytest.mark.parametrize(("name", "case", "example"), EXAMPLES, ids=IDS)
def test_an_example_is_shown_with_its_operation_and_no_other(name: str, case: str, example: dict[str, Any]) -> None:
    responses = OPERATIONS[name][2]["responses"]
    shown = {
        case: entry["value"]
        for response in responses.values()
        for media in response.get("content", {}).values()
        for case, entry in media.get("examples", {}).items()
    }
    assert set(shown) <= set(read_examples()[name])
    assert shown.get(case) == example.get("answer")


def test_a_value_that_breaks_a_schema_is_seen() -> None:
    assert faults({"$ref": "#/components/schemas/CriteriaVersionForm"}, {"version": 0}) != []
    assert faults({"$ref": "#/components/schemas/RecordBatch"}, {"sent_at": "2026-03-12T10:40:00Z", "records": [{}]})
