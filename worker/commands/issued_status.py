"""Ask a service what became of a package whose file is at hand, by the verification code inside it."""

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple
from urllib.parse import urlsplit

import httpx
import orjson

from service.vocabulary.signatures import SignaturePlace, SignedBy
from service.vocabulary.verification import RoleSignature, VerificationAnswer
from service.vocabulary.words import PackageStanding
from worker.package.data.content import AuditHead
from worker.signing.check.parsing import read_attachment
from worker.signing.errors import AttachmentNotFoundError

_CODE = re.compile(r"[0-9A-Z]{4}(-[0-9A-Z]{4}){3}")
_PATIENCE_S = 10
# Form 1 sealed decisions in the engineer's place.
_OF_DECISIONS = (SignaturePlace.DECISION, SignaturePlace.ENGINEER)


class ServerAddressError(ValueError):
    """What was given as a service's address is none."""

    def __init__(self, address: str) -> None:
        super().__init__(f"{address!r} is not the address of a service, such as https://acceptance.example.")


class Served(NamedTuple):
    """What the service says of a package, and what in it speaks against the file."""

    answer: Mapping[str, Any]
    problems: tuple[str, ...]


def client_of(address: str) -> httpx.Client:
    """Return a client of the service at an address, which is checked to be one; nothing is sent yet."""
    try:
        parts, url = urlsplit(address), httpx.URL(address)
        # Reading the port checks it.
        is_one = parts.scheme in {"http", "https"} and bool(parts.hostname) and parts.port != 0
    except (httpx.InvalidURL, ValueError) as error:
        raise ServerAddressError(address) from error
    if not is_one or any(character.isspace() for character in address):
        raise ServerAddressError(address)
    return httpx.Client(base_url=url, timeout=_PATIENCE_S)


def ask_issued_status(pdf: bytes, *, sha256: str, head: AuditHead | None, client: httpx.Client) -> Served:
    """Compare a file with what the service issued under its code, and tell whether it is still current.

    `head` is the audit head that the file states: the service's chain must still have it.
    """
    code = _code_in(pdf)
    if code is None:
        return Served({}, ("The file holds no verification code to ask the server for.",))
    try:
        response = client.get(f"/v1/verifications/{code}", headers={"Accept": "application/json"})
    except httpx.HTTPError as error:
        return Served({}, (f"The server did not answer ({type(error).__name__}).",))
    if response.status_code == httpx.codes.NOT_FOUND:
        return Served({}, ("The server knows no package with this file's verification code.",))
    try:
        answer = VerificationAnswer.model_validate_json(response.content)
    except ValueError:
        return Served({}, (f"The server gave no answer that could be read (status {response.status_code}).",))
    return Served(answer.model_dump(mode="json"), tuple(_problems(answer, sha256=sha256, head=head)))


def issued_status_lines(served: Served) -> list[str]:
    """Say for people what the service says."""
    answer = served.answer
    if not answer:
        return []
    words = [str(answer[name]).replace("_", " ") for name in ("standing", "decision")]
    later = "" if answer["superseded_by"] is None else f" by {answer['superseded_by']}"
    audit = answer["audit"]
    return [
        f"  server    package {answer['number']}: {words[0]}{later}, {words[1]}",
        f"            its audit entry {audit['sequence']} is {audit['hash'] or 'gone'}",
    ]


def _code_in(pdf: bytes) -> str | None:
    try:
        code = orjson.loads(read_attachment(pdf, "package.json"))["verification_code"]
    except (AttachmentNotFoundError, ValueError, LookupError, TypeError):
        return None
    # It becomes part of an address, and anybody may have written the file.
    return code if isinstance(code, str) and _CODE.fullmatch(code) else None


def _problems(answer: VerificationAnswer, *, sha256: str, head: AuditHead | None) -> Iterator[str]:
    files = [answer.certified_sha256, *(one.file_sha256 for one in answer.signatures), answer.current_sha256]
    if sha256 not in files:
        yield "The server issued another file under this verification code."
    elif sha256 != answer.current_sha256:
        yield f"The file was cut back, or is an earlier one: beyond it the server has {_beyond(answer, sha256=sha256)}."
    if answer.standing is PackageStanding.SUPERSEDED:
        yield f"The package is superseded by {answer.superseded_by}."
    if head is not None and (head.sequence, head.hash) != (answer.audit.sequence, answer.audit.hash):
        yield (
            f"The project's audit chain no longer has entry {head.sequence} as this file states it: what was recorded "
            "up to then was changed or cut off."
        )


def _beyond(answer: VerificationAnswer, *, sha256: str) -> str:
    """Name what the current file has and an earlier one lacks."""
    files = [answer.certified_sha256, *(one.file_sha256 for one in answer.signatures)]
    own = max((number for number, file in enumerate(files) if file == sha256), default=0)
    lacking = [_named(one) for one in answer.signatures[own:]] or ["a later time stamp"]
    if any(one.by is SignedBy.SERVICE_SEAL and one.role in _OF_DECISIONS for one in answer.signatures[own:]):
        lacking.append(f"the decision: {answer.decision.value.replace('_', ' ')}")
    return "; ".join(lacking)


def _named(signature: RoleSignature) -> str:
    if signature.by is SignedBy.OWN_KEY:
        return f"the {signature.role.value}'s own signature"
    if signature.role is SignaturePlace.DECISION:
        return "the service's seal over the decision"
    return f"the service's seal over what the {signature.role.value} recorded"
