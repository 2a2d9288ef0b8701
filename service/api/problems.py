"""Every refusal as a problem document (RFC 9457), written in one place; none repeats what was sent."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException

from service.errors import (
    BodyInvalidError,
    BodyUnreadableError,
    NotReadyError,
    QueryInvalidError,
    ServiceError,
    problem_type,
)
from service.vocabulary.validation import faults_of

MEDIA_TYPE = "application/problem+json"
# Serialisation failure, deadlock, lock and statement timeouts: the same request may well succeed a moment later.
_PASSING_STATES = ("40001", "40P01", "55P03", "57014", "25P03")
# Connection exceptions, shutdown, too few resources.
_PASSING_CLASSES = ("08", "57P", "53")

log = structlog.get_logger()


def install(app: FastAPI) -> None:
    """Let the application answer every error as a problem."""
    app.add_exception_handler(ServiceError, _refused)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(DBAPIError, _database)
    app.add_exception_handler(Exception, _unexpected)


def answer_refusal(error: ServiceError) -> JSONResponse:
    """Return a refusal as a response."""
    return _answer(error.problem(), error.headers)


async def _refused(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, ServiceError)
    return answer_refusal(error)


async def _invalid(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    found: Sequence[Mapping[str, Any]] = error.errors()
    if any(one["type"] == "json_invalid" for one in found):
        return answer_refusal(BodyUnreadableError("The body is not JSON."))
    if any(one["loc"][0] == "path" for one in found):
        return _plain(HTTPStatus.NOT_FOUND)
    if any(one["loc"][0] == "body" for one in found):
        faults = faults_of(found, skip=1)
        return answer_refusal(BodyInvalidError("The body is not what this operation takes.", faults=faults))
    return answer_refusal(QueryInvalidError("A parameter is wrong.", faults=faults_of(found, skip=1)))


async def _http(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    return _plain(HTTPStatus(error.status_code), error.headers)


async def _database(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, DBAPIError)
    state = getattr(error.orig, "sqlstate", None)
    if (
        error.connection_invalidated
        or state is None
        or state in _PASSING_STATES
        or state.startswith(("08", "57P", "53"))
    ):
        log.warning("database.not_ready", sqlstate=state, path=request.url.path)
        return answer_refusal(NotReadyError("Send the same again in a moment.", headers={"Retry-After": "2"}))
    return await _unexpected(request, error)


async def _unexpected(request: Request, error: Exception) -> JSONResponse:
    log.error("request.failed", path=request.url.path, method=request.method, exc_info=error)
    return _plain(HTTPStatus.INTERNAL_SERVER_ERROR)


def _plain(status: HTTPStatus, headers: Mapping[str, str] | None = None) -> JSONResponse:
    code = status.phrase.lower().replace(" ", "_").replace("-", "_")
    problem = {
        "type": problem_type(f"http.{code}"),
        "title": status.phrase,
        "status": int(status),
        "detail": status.description or status.phrase,
    }
    return _answer(problem, headers)


def _answer(problem: Mapping[str, Any], headers: Mapping[str, str] | None) -> JSONResponse:
    return JSONResponse(
        dict(problem), status_code=problem["status"], headers=dict(headers or {}), media_type=MEDIA_TYPE
    )
