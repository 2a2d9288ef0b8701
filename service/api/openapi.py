"""The served OpenAPI document: problems as they are answered, and the one body that is described by hand."""

from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.problems import Problem
from service.api.records.records import RecordBatch
from service.settings import MAX_BATCH
from service.vocabulary.records.record import RECORD

# The API's own: it tells clients what changed for them, and moves apart from the program's, which `pyproject.toml` has.
API_VERSION = "1.0.0"
DESCRIPTION = """Turns a fibre crew's splice and test records into an accepted, paid route.

Cautions. Light in these fibres is invisible: a dark fibre is not a safe one, and nobody looks into a fibre or a
connector. Glass offcuts pierce skin and eyes. The splicer's arc ignites gas and solvent vapour. Manholes hold traffic,
gas and too little oxygen. This service reminds of dangers and never says that a place or a fibre is safe; local codes
and licensed practice govern, and acceptance rests with the owner's licensed engineer.

Loss is in dB and positive for a loss; reflectance is at most 0 dB, return loss at least 0 dB. Times are RFC 3339 with
an offset. Every answer that is not 2xx or 304 is an RFC 9457 problem. Within /v1 only optional input is added.
The version of this document is the API's own, and not that of the program that serves it."""

_EXAMPLES = Path(__file__).parents[2] / "openapi_examples"
_SCHEMA_REF = "#/components/schemas/{model}"
_TEXT = {"schema": {"type": "string"}}
_LOCATION = {"Location": _TEXT | {"description": "Where the thing is that was made."}}
_ETAG = {"ETag": _TEXT | {"description": "Names this state of what was read; a strong tag."}}
_NEXT = {"Link": _TEXT | {"description": 'The next page, as rel="next" (RFC 8288); none on the last.'}}
_RETRY = {"Retry-After": _TEXT | {"description": "Seconds to wait before asking for it."}}
_MAKING = ("open_project", "issue_token", "register_certificate", "set_criteria", "describe_route")
_TAGGED = (
    "read_fibre",
    "read_package",
    "read_pdf",
    "read_archive",
    "read_package_findings",
    "read_evidence",
    "read_design",
    "propose_design",
    "agree_design",
    "refuse_design",
)
_PAGED = ("read_records", "read_findings", "read_notices", "read_fibre_assignments", "read_work_items")
_HEADERS = (
    {name: {"201": _LOCATION} for name in _MAKING}
    | {name: {"202": _LOCATION | _RETRY} for name in ("submit", "upload_signature", "try_criteria", "try_design")}
    | {
        name: {"200": _NEXT}
        for name in ("read_records", "read_findings", "read_notices", "read_fibre_assignments", "read_work_items")
    }
    | {name: {"200": _ETAG} for name in _TAGGED}
    | {name: {"200": _ETAG, "304": _ETAG} for name in ("read_acceptance", "read_worklist")}
)
# These answer 200 where the same was there already.
_REPEATABLE = ("open_project", "register_certificate", "set_criteria", "describe_route", "send_evidence")


def install_document(app: FastAPI) -> None:
    """Let the application serve its document, made once."""

    def document() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = make_document(app)
        return app.openapi_schema

    app.openapi = document  # type: ignore[method-assign]


def make_document(app: FastAPI) -> dict[str, Any]:
    """Return the application's OpenAPI document, with the examples in it."""
    document = get_openapi(
        title=app.title, version=app.version, description=app.description, routes=app.routes, openapi_version="3.1.0"
    )
    schemas = document["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    _define(schemas, "Problem", Problem.model_json_schema(ref_template=_SCHEMA_REF))
    _define(schemas, "Record", RECORD.json_schema(ref_template=_SCHEMA_REF))
    batch = RecordBatch.model_json_schema(ref_template=_SCHEMA_REF)
    batch["properties"]["records"] |= {"items": _reference("Record"), "maxItems": MAX_BATCH}
    _define(schemas, "RecordBatch", batch)
    for path in document["paths"].values():
        for operation in path.values():
            _say_how_it_answers(operation)
            if operation["operationId"] == "post_records":
                content = {"application/json": {"schema": _reference("RecordBatch")}}
                operation["requestBody"] = {"required": True, "content": content}
    _add_examples(document)
    return document


@cache
def read_examples() -> dict[str, dict[str, Any]]:
    """Return the examples by operation and case; none where the folder is not beside the code."""
    return {
        folder.name: {path.stem: orjson.loads(path.read_bytes()) for path in sorted(folder.glob("*.json"))}
        for folder in sorted(_EXAMPLES.glob("*"))
        if folder.is_dir() and folder.name not in {"demo", "__pycache__"}
    }


def _reference(model: str) -> dict[str, str]:
    return {"$ref": _SCHEMA_REF.format(model=model)}


def _define(schemas: dict[str, Any], name: str, schema: dict[str, Any]) -> None:
    schemas.update(schema.pop("$defs", {}))
    schemas[name] = schema


def _say_how_it_answers(operation: dict[str, Any]) -> None:
    name, responses = operation["operationId"], operation["responses"]
    responses.pop("422", None)
    if name in _REPEATABLE:
        responses["200"] = {"description": "It was there already.", "content": deepcopy(responses["201"]["content"])}
    if name in {"read_acceptance", "read_worklist"}:
        responses["304"] = {"description": "Nothing has changed since the ETag in If-None-Match."}
    for status, headers in _HEADERS.get(name, {}).items():
        responses[status]["headers"] = headers
    responses["default"] = {
        "description": "The request was refused: an RFC 9457 problem.",
        "content": {"application/problem+json": {"schema": _reference("Problem")}},
    }


def _add_examples(document: dict[str, Any]) -> None:
    """Show each example with the operation that its folder is named after."""
    examples = read_examples()
    for operations in document["paths"].values():
        for operation in operations.values():
            for case, example in examples.get(operation["operationId"], {}).items():
                _show(operation, case, example)


def _show(operation: dict[str, Any], case: str, example: dict[str, Any]) -> None:
    if "body" in example:
        _add(operation["requestBody"], case, example, value=example["body"])
    if "answer" in example:
        responses = operation["responses"]
        _add(responses.get(str(example["status"]), responses["default"]), case, example, value=example["answer"])


def _add(place: dict[str, Any], case: str, example: dict[str, Any], *, value: Any) -> None:
    for media in place["content"].values():
        media.setdefault("examples", {})[case] = {"summary": example["summary"], "value": value}
