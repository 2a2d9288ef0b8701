"""The served OpenAPI document: problems as they are answered, and the one body that is described by hand."""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.examples import add_examples
from service.api.forms import Problem, RecordBatch
from service.vocabulary.record import RECORD

DESCRIPTION = """Turns a fibre crew's splice and test records into an accepted, paid route.

Cautions. Light in these fibres is invisible: a dark fibre is not a safe one, and nobody looks into a fibre or a
connector. Glass offcuts pierce skin and eyes. The splicer's arc ignites gas and solvent vapour. Manholes hold traffic,
gas and too little oxygen. This service reminds of dangers and never says that a place or a fibre is safe; local codes
and licensed practice govern, and acceptance rests with the owner's licensed engineer.

Loss is in dB and positive for a loss; reflectance is at most 0 dB, return loss at least 0 dB. Times are RFC 3339 with
an offset. Every answer that is not 2xx or 304 is an RFC 9457 problem. Within /v1 only optional input is added."""

_SCHEMA_REF = "#/components/schemas/{model}"
_PROBLEM = {
    "description": "The request was refused: an RFC 9457 problem.",
    "content": {"application/problem+json": {"schema": {"$ref": _SCHEMA_REF.format(model="Problem")}}},
}


def install_document(app: FastAPI) -> None:
    """Let the application serve its document, made once."""

    def document() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _make_document(app)
        return app.openapi_schema

    app.openapi = document  # type: ignore[method-assign]


def _make_document(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=app.title, version=app.version, description=app.description, routes=app.routes, openapi_version="3.1.0"
    )
    schemas = document["components"]["schemas"]
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    _define(schemas, "Problem", Problem.model_json_schema(ref_template=_SCHEMA_REF))
    _define(schemas, "Record", RECORD.json_schema(ref_template=_SCHEMA_REF))
    batch = RecordBatch.model_json_schema(ref_template=_SCHEMA_REF)
    batch["properties"]["records"]["items"] = {"$ref": _SCHEMA_REF.format(model="Record")}
    batch["properties"]["records"]["maxItems"] = 500
    _define(schemas, "RecordBatch", batch)
    document["paths"]["/v1/routes/{route_id}/records"]["post"]["requestBody"] = {
        "required": True,
        "content": {"application/json": {"schema": {"$ref": _SCHEMA_REF.format(model="RecordBatch")}}},
    }
    for path, operations in document["paths"].items():
        for operation in operations.values():
            _say_how_it_answers(path, operation)
    add_examples(document)
    return document


def _define(schemas: dict[str, Any], name: str, schema: dict[str, Any]) -> None:
    schemas.update(schema.pop("$defs", {}))
    schemas[name] = schema


def _say_how_it_answers(path: str, operation: dict[str, Any]) -> None:
    responses = operation["responses"]
    responses.pop("422", None)
    responses["default"] = _PROBLEM
    if path.endswith("/acceptance") and "route_id" in path:
        responses["304"] = {"description": "Nothing has changed since the ETag in If-None-Match."}
    for status, response in responses.items():
        if status in {"201", "202"}:
            response.setdefault("headers", {})["Location"] = {"schema": {"type": "string"}}
