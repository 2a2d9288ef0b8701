"""Entity tags: whether a caller knows already what it asks for."""

from fastapi import Request


def is_known(etag: str, request: Request) -> bool:
    """Tell whether a request names the tag of what it would be answered with."""
    # RFC 9110, 13.1.2: If-None-Match compares weakly; a proxy that compresses makes a strong tag weak.
    tags = [tag.strip().removeprefix("W/") for tag in request.headers.get("if-none-match", "").split(",")]
    return etag in tags or "*" in tags
