"""The authorities outside that signing asks, over HTTP: bounded in time and size, and never redirected."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from service.settings import WorkerSettings
from worker.signing.errors import AuthorityError
from worker.signing.make.sealing import Authorities

# A time stamp has kilobytes; a large issuer's revocation list has megabytes.
LARGEST_TIME_ANSWER = 64 * 1024
LARGEST_REVOCATION_ANSWER = 16 * 1024 * 1024
# RFC 3161, 3.4; RFC 6960, appendix A.
TIME_QUERY, TIME_REPLY = "application/timestamp-query", "application/timestamp-reply"
STATUS_QUERY = "application/ocsp-request"


def authorities_of(settings: WorkerSettings) -> Authorities | None:
    """Return whom the settings name; without a time-stamp authority there is nobody to ask."""
    if settings.timestamp_url is None:
        return None
    url, patience_s = settings.timestamp_url.get_secret_value(), settings.authority_timeout_s

    def ask_time(request: bytes) -> bytes:
        with _asking(url, body=request, content_type=TIME_QUERY, patience_s=patience_s) as answer:
            kind = answer.headers.get("content-type", "").split(";")[0].strip().lower()
            if kind != TIME_REPLY:
                raise AuthorityError(f"{_host(url)} answered with {kind or 'no type'}, and not with a time stamp.")
            return _read(answer, most=LARGEST_TIME_ANSWER, patience_s=patience_s)

    def fetch(address: str, request: bytes | None) -> bytes:
        with _asking(address, body=request, content_type=STATUS_QUERY, patience_s=patience_s) as answer:
            return _read(answer, most=LARGEST_REVOCATION_ANSWER, patience_s=patience_s)

    return Authorities(
        ask_time=ask_time,
        fetch=fetch,
        trust=time_trust_of(settings),
        revocation_lists=_revocation_lists(settings.revocation_list_dir),
    )


def trust_of(settings: WorkerSettings) -> tuple[bytes, ...]:
    """Return the roots that receivers trust."""
    return () if settings.signing_trust_file is None else (settings.signing_trust_file.read_bytes(),)


def time_trust_of(settings: WorkerSettings) -> tuple[bytes, ...]:
    """Return the roots of time-stamp authorities; where none are named, those that receivers trust."""
    file = settings.timestamp_trust_file or settings.signing_trust_file
    return () if file is None else (file.read_bytes(),)


def time_authority_host(settings: WorkerSettings) -> str | None:
    """Return where the time comes from, without what the address may hold of a password."""
    return None if settings.timestamp_url is None else _host(settings.timestamp_url.get_secret_value())


def _revocation_lists(folder: Path | None) -> tuple[bytes, ...]:
    if folder is None:
        return ()
    return tuple(file.read_bytes() for file in sorted(folder.iterdir()) if file.is_file())


@contextmanager
def _asking(url: str, *, body: bytes | None, content_type: str, patience_s: float) -> Iterator[httpx.Response]:
    method, headers = ("GET", {}) if body is None else ("POST", {"Content-Type": content_type})
    try:
        with httpx.stream(method, url, content=body, headers=headers, timeout=patience_s) as answer:
            if answer.status_code != httpx.codes.OK:
                raise AuthorityError(f"{_host(url)} answered with status {answer.status_code}.")
            yield answer
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise AuthorityError(f"{_host(url)} did not answer: {type(error).__name__}.") from error


def _read(answer: httpx.Response, *, most: int, patience_s: float) -> bytes:
    # The client's own limit is for each read: a byte now and then would keep it waiting for ever.
    give_up_at = time.monotonic() + patience_s
    content = bytearray()
    for chunk in answer.iter_bytes():
        content += chunk
        if len(content) > most:
            raise AuthorityError(f"{answer.url.host} answered with more than {most} bytes.")
        if time.monotonic() > give_up_at:
            raise AuthorityError(f"{answer.url.host} took longer than {patience_s:g} s to answer.")
    return bytes(content)


def _host(url: str) -> str:
    return httpx.URL(url).host
