"""Every refusal as a problem document (RFC 9457), written in one place; none repeats what was sent."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from pydantic import BaseModel
from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from starlette.exceptions import HTTPException

from service import errors
from service.storage.blobs import BlobStorageError, BlobStorageFullError
from service.vocabulary.validation import faults_of

MEDIA_TYPE = "application/problem+json"
# The same request may well succeed a moment later: serialisation failure, deadlock, lock, statement and idle timeouts;
# unique violation, where another request put the same thing there first; connection exceptions, shutdown, too few
# resources.
_PASSING_STATES = ("40001", "40P01", "55P03", "57014", "25P03", "23505", "08", "57P", "53")

log = structlog.get_logger()


class ProblemError(BaseModel):
    """One thing wrong, at an RFC 6901 pointer."""

    pointer: str
    detail: str


class Problem(BaseModel):
    """A refusal (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[ProblemError] | None = None


def install(app: FastAPI, operations: Sequence[APIRoute]) -> None:
    """Let the application answer every error as a problem; the operations say what a path allows."""
    app.state.operations = operations
    app.add_exception_handler(errors.ServiceError, _refused)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(BlobStorageError, _not_kept)
    app.add_exception_handler(DBAPIError, _database)
    app.add_exception_handler(PoolTimeoutError, _busy)
    app.add_exception_handler(Exception, _unexpected)


def answer_refusal(error: errors.ServiceError) -> JSONResponse:
    """Return a refusal as a response."""
    return _answer(error.problem(), error.headers)


async def _refused(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, errors.ServiceError)
    return answer_refusal(error)


async def _invalid(_: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    found: Sequence[Mapping[str, Any]] = error.errors()
    if any(one["type"] == "json_invalid" for one in found):
        return answer_refusal(errors.BodyUnreadableError("The body is not JSON."))
    if any(one["loc"][0] == "path" for one in found):
        return _plain(HTTPStatus.NOT_FOUND)
    if any(one["loc"][0] == "body" for one in found):
        faults = faults_of(found, skip=1)
        return answer_refusal(errors.BodyInvalidError("The body is not what this operation takes.", faults=faults))
    return answer_refusal(errors.QueryInvalidError("A parameter is wrong.", faults=faults_of(found, skip=1)))


async def _http(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    status = HTTPStatus(error.status_code)
    allowed = _methods_at(request) if status is HTTPStatus.METHOD_NOT_ALLOWED else []
    return _plain(status, {"Allow": ", ".join(allowed)} if allowed else error.headers)


def _methods_at(request: Request) -> list[str]:
    # The framework names the methods of the first operation at a path only; RFC 9110, 15.5.6 asks for all.
    operations: Sequence[APIRoute] = request.app.state.operations
    return sorted(
        {method for one in operations if one.path_regex.match(request.url.path) for method in one.methods or ()}
    )


async def _not_kept(request: Request, error: Exception) -> JSONResponse:
    log.error("files.not_kept", path=request.url.path, reason=str(error))
    # What is left of the body is not read any more.
    headers = {"Retry-After": "60", "Connection": "close"}
    is_full = isinstance(error, BlobStorageFullError)
    refusal = errors.StorageFullError if is_full else errors.StorageUnwritableError
    return answer_refusal(refusal("Nothing of the file was kept; send it again later.", headers=headers))


async def _database(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, DBAPIError)
    state = getattr(error.orig, "sqlstate", None)
    # Without a state the server was never reached, unless it was the driver that refused a value.
    is_unreached = state is None and isinstance(error, OperationalError | InterfaceError)
    if error.connection_invalidated or is_unreached or (state or "").startswith(_PASSING_STATES):
        log.warning("database.not_ready", sqlstate=state, path=request.url.path)
        return await _busy(request, error)
    return await _unexpected(request, error)


async def _busy(_: Request, __: Exception) -> JSONResponse:
    return answer_refusal(errors.NotReadyError("Send the same again in a moment.", headers={"Retry-After": "2"}))


async def _unexpected(request: Request, error: Exception) -> JSONResponse:
    log.error("request.failed", path=request.url.path, method=request.method, exc_info=error)
    return _plain(HTTPStatus.INTERNAL_SERVER_ERROR)


def _plain(status: HTTPStatus, headers: Mapping[str, str] | None = None) -> JSONResponse:
    code = status.phrase.lower().replace(" ", "_").replace("-", "_")
    problem = {
        "type": errors.problem_type(f"http.{code}"),
        "title": status.phrase,
        "status": int(status),
        "detail": status.description or status.phrase,
    }
    return _answer(problem, headers)


def _answer(problem: Mapping[str, Any], headers: Mapping[str, str] | None) -> JSONResponse:
    return JSONResponse(
        dict(problem), status_code=problem["status"], headers=dict(headers or {}), media_type=MEDIA_TYPE
    )
