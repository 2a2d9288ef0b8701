"""What every operation checks before it looks at a request: size, content type, known query parameters."""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from service.errors import BodyTooLargeError, ContentTypeError, QueryInvalidError
from service.settings import MAX_BODY_BYTES

Handler = Callable[[Request], Coroutine[Any, Any, Response]]


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
                await _read_body(request)
            return await handle(request)

        return checked


async def _read_body(request: Request) -> None:
    content_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if content_type != "application/json" or "content-encoding" in request.headers:
        raise ContentTypeError("Send application/json, not compressed.", headers={"Accept-Encoding": "identity"})
    if int(request.headers.get("content-length", 0)) > MAX_BODY_BYTES:
        raise _too_large()
    chunks, size = [], 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > MAX_BODY_BYTES:
            raise _too_large()
        chunks.append(chunk)
    # Where Starlette keeps a body that was read: the handlers behind find it there.
    request._body = b"".join(chunks)


def _too_large() -> BodyTooLargeError:
    return BodyTooLargeError(f"At most {MAX_BODY_BYTES} bytes are taken.", headers={"Connection": "close"})


def _query_names(dependant: Dependant) -> frozenset[str]:
    names = {field.alias for field in dependant.query_params}
    return frozenset(names.union(*(_query_names(one) for one in dependant.dependencies)))
