"""What all operations share: checks of size, content type and query parameters, and answers read from rows."""

from collections.abc import AsyncIterator, Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute
from pydantic import BaseModel, ConfigDict

from service.errors import BodyTooLargeError, ContentTypeError, QueryInvalidError
from service.settings import MAX_BODY_BYTES
from service.storage.blobs import IncomingBlob

Handler = Callable[[Request], Coroutine[Any, Any, Response]]


class RowAnswer(BaseModel):
    """An answer whose members are a row's, by the names of its columns."""

    model_config = ConfigDict(from_attributes=True)


class CheckedRoute(APIRoute):
    """A route that refuses a body that is too large or not JSON, and query parameters that nobody reads."""

    def get_route_handler(self) -> Handler:
        """Put the checks in front of the route's own handler."""
        handle = super().get_route_handler()
        known = _query_names(self.dependant)

        async def checked(request: Request) -> Response:
            unknown = sorted(set(request.query_params) - known)
            if unknown:
                raise QueryInvalidError(f"{len(unknown)} query parameters are unknown; known: {sorted(known)}.")
            if request.method in {"POST", "PUT", "PATCH"}:
                await self.take_body(request)
            return await handle(request)

        return checked

    async def take_body(self, request: Request) -> None:
        """Read the body whole, as JSON."""
        media_type_of(request, "application/json")
        chunks = [chunk async for chunk in body_of(request, limit=MAX_BODY_BYTES)]
        # Where Starlette keeps a body that was read: the handlers behind find it there.
        request._body = b"".join(chunks)


class FileRoute(CheckedRoute):
    """A route whose handler takes a file by `receive_body`, once it knows who sends it and how large it may be."""

    async def take_body(self, request: Request) -> None:
        """Leave the body where it is."""


def media_type_of(request: Request, *taken: str) -> str:
    """Return what a body is said to be, refused where that is nothing that is taken, or compressed."""
    content_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if content_type not in taken or "content-encoding" in request.headers:
        raise ContentTypeError(f"Send {' or '.join(taken)}, not compressed.", headers={"Accept-Encoding": "identity"})
    return content_type


async def receive_body(request: Request, incoming: IncomingBlob, *, limit: int) -> None:
    """Write a body to a file piece by piece, refused where it is larger than is taken."""
    async for chunk in body_of(request, limit=limit):
        await run_in_threadpool(incoming.write, chunk)


async def body_of(request: Request, *, limit: int) -> AsyncIterator[bytes]:
    """Give a body piece by piece, refused where it is larger than is taken."""
    size = 0
    if int(request.headers.get("content-length", 0)) > limit:
        raise _too_large(limit)
    async for chunk in request.stream():
        size += len(chunk)
        if size > limit:
            raise _too_large(limit)
        yield chunk


def _too_large(limit: int) -> BodyTooLargeError:
    return BodyTooLargeError(f"At most {limit} bytes are taken.", headers={"Connection": "close"})


def _query_names(dependant: Dependant) -> frozenset[str]:
    names = {field.alias for field in dependant.query_params}
    return frozenset(names.union(*(_query_names(one) for one in dependant.dependencies)))
