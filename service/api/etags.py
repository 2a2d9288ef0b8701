"""Entity tags: whether a caller knows already what it asks for."""

from collections.abc import Callable

from fastapi import Request, Response

PRIVATE = "private, no-cache"


def answer_unless_known(etag: str, request: Request, write: Callable[[], bytes]) -> Response:
    """Answer with JSON under its tag; with 304, and nothing read or written, where the caller names the tag."""
    headers = {"ETag": etag, "Cache-Control": PRIVATE}
    if is_known(etag, request):
        return Response(status_code=304, headers=headers)
    return Response(write(), headers=headers, media_type="application/json")


def is_known(etag: str, request: Request) -> bool:
    """Tell whether a request names the tag of what it would be answered with."""
    # RFC 9110, 13.1.2: If-None-Match compares weakly; a proxy that compresses makes a strong tag weak.
    tags = [tag.strip().removeprefix("W/") for tag in request.headers.get("if-none-match", "").split(",")]
    return etag in tags or "*" in tags
