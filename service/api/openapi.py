"""The served OpenAPI document: problems as they are answered, and the one body that is described by hand."""

from copy import deepcopy
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.examples import add_examples
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

_SCHEMA_REF = "#/components/schemas/{model}"
_TEXT = {"schema": {"type": "string"}}
_LOCATION = {"Location": _TEXT | {"description": "Where the thing is that was made."}}
_ETAG = {"ETag": _TEXT | {"description": "Names this state of what was read; a strong tag."}}
_NEXT = {"Link": _TEXT | {"description": 'The next page, as rel="next" (RFC 8288); none on the last.'}}
_RETRY = {"Retry-After": _TEXT | {"description": "Seconds to wait before asking for it."}}
_HEADERS = {
    "open_project": {"201": _LOCATION},
    "issue_token": {"201": _LOCATION},
    "register_certificate": {"201": _LOCATION},
    "set_criteria": {"201": _LOCATION},
    "describe_route": {"201": _LOCATION},
    "submit": {"202": _LOCATION | _RETRY},
    "upload_signature": {"202": _LOCATION | _RETRY},
    "try_criteria": {"202": _LOCATION | _RETRY},
    "read_records": {"200": _NEXT},
    "read_findings": {"200": _NEXT},
    "read_notices": {"200": _NEXT},
    "read_acceptance": {"200": _ETAG, "304": _ETAG},
    "read_fibre": {"200": _ETAG},
    "read_package": {"200": _ETAG},
    "read_pdf": {"200": _ETAG},
    "read_archive": {"200": _ETAG},
    "read_package_findings": {"200": _ETAG},
    "read_evidence": {"200": _ETAG},
}
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
    add_examples(document)
    return document


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
    if name == "read_acceptance":
        responses["304"] = {"description": "Nothing has changed since the ETag in If-None-Match."}
    for status, headers in _HEADERS.get(name, {}).items():
        responses[status]["headers"] = headers
    responses["default"] = {
        "description": "The request was refused: an RFC 9457 problem.",
        "content": {"application/problem+json": {"schema": _reference("Problem")}},
    }
