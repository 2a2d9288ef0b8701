"""Ask a service what became of a package whose file is at hand, by the verification code inside it."""

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

import httpx
import orjson

from service.vocabulary.words import PackageStanding
from worker.signing.errors import AttachmentNotFoundError
from worker.signing.parsing import read_attachment

_CODE = re.compile(r"[0-9A-Z]{4}(-[0-9A-Z]{4}){3}")


class Served(NamedTuple):
    """What the service says of a package, and what in it speaks against the file."""

    answer: Mapping[str, Any]
    problems: tuple[str, ...]


def ask_standing(pdf: bytes, *, sha256: str, client: httpx.Client) -> Served:
    """Compare a file with what the service issued under its code, and tell whether it is still current."""
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
        answer = orjson.loads(response.content)
        return Served(answer, tuple(_problems(answer, sha256=sha256)))
    except (ValueError, LookupError, TypeError):
        return Served({}, (f"The server gave no answer that could be read (status {response.status_code}).",))


def standing_lines(served: Served) -> list[str]:
    """Say for people what the service says."""
    answer = served.answer
    if not answer:
        return []
    words = [str(answer[name]).replace("_", " ") for name in ("standing", "decision")]
    later = "" if answer["superseded_by"] is None else f" by {answer['superseded_by']}"
    return [f"  server    package {answer['number']}: {words[0]}{later}, {words[1]}"]


def _code_in(pdf: bytes) -> str | None:
    try:
        code = orjson.loads(read_attachment(pdf, "package.json"))["verification_code"]
    except (AttachmentNotFoundError, ValueError, LookupError, TypeError):
        return None
    # It becomes part of an address, and anybody may have written the file.
    return code if isinstance(code, str) and _CODE.fullmatch(code) else None


def _problems(answer: Mapping[str, Any], *, sha256: str) -> list[str]:
    problems = []
    if sha256 not in {answer["certified_sha256"], *(one["file_sha256"] for one in answer["signatures"])}:
        problems.append("The server issued another file under this verification code.")
    if answer["standing"] == PackageStanding.SUPERSEDED:
        problems.append(f"The package is superseded by {answer['superseded_by']}.")
    return problems
