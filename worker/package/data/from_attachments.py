"""Read back from its attached files what a package was drawn from; anybody may have made them."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from typing import Any, NamedTuple, NotRequired

from pydantic import TypeAdapter, ValidationError
from pydantic_core import from_json
from typing_extensions import TypedDict

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.findings.finding import FibreDocument
from service.vocabulary.quantities import read_canonical
from service.vocabulary.records.record import canonical_record, read_record_document
from service.vocabulary.signatures import SignedBy
from worker.package.data.attachment_forms import (
    FIRST_PACKAGE_FORM,
    PACKAGE_FORM,
    FindingsFile,
    FirstPackageFile,
    PackageFile,
)
from worker.package.data.attachments import WRITERS
from worker.package.data.content import PackageContent, PackagedRecord, PackageFacts


class AttachedDataError(ValueError):
    """What is attached is not the data of a package."""


class Making(NamedTuple):
    """Which program drew a package's pages, and in which form."""

    program: str
    pages_form: int


class _Start(TypedDict):
    form: str
    pages_form: int
    program: str


class _StoredRecord(TypedDict):
    record: dict[str, Any]
    is_ended: bool
    clock_is_flagged: bool
    end_reason: NotRequired[str]
    annulment_reason: NotRequired[str]
    is_of_other_route: NotRequired[bool]


class _StoredRecords(TypedDict):
    records: list[_StoredRecord]


_START, _PACKAGE, _FIRST_PACKAGE = TypeAdapter(_Start), TypeAdapter(PackageFile), TypeAdapter(FirstPackageFile)
_FORMS = (FIRST_PACKAGE_FORM, PACKAGE_FORM)
_FINDINGS, _FIBRE, _RECORDS = TypeAdapter(FindingsFile), TypeAdapter(FibreDocument), TypeAdapter(_StoredRecords)


def read_making(files: Mapping[str, bytes]) -> Making:
    """Return how a package was made: the one thing to be read of a package that a later program has made."""
    with _faults_in("package.json"):
        start = _START.validate_json(_file(files, "package.json"), strict=True)
        if start["form"] not in _FORMS:
            raise ValueError(f"it is of the form {start['form']!r}, and this program reads {' and '.join(_FORMS)}")
    return Making(program=start["program"], pages_form=start["pages_form"])


def read_content(files: Mapping[str, bytes]) -> PackageContent:
    """Return what a package was drawn from, if written again it gives the same files to the last byte."""
    content = _content(files)
    for name in sorted({*files, *WRITERS}):
        if name not in WRITERS or not _is_made_of(files[name], WRITERS[name](content)):
            raise AttachedDataError(f"{name}: it holds more than its form names, or is not in canonical form")
    return content


def _content(files: Mapping[str, bytes]) -> PackageContent:
    with _faults_in("package.json"):
        about, first_form = _about(_file(files, "package.json"))
    # Before the findings, which stay: as objects these take four times their text, and are let go one by one.
    with _faults_in("records.json"):
        records = _records(_file(files, "records.json"))
    with _faults_in("findings.json"):
        findings = _findings(_file(files, "findings.json"))
        if findings["verdict_digest"] != about.verdict_digest:
            raise ValueError("it names another verdict than package.json")
    with _faults_in("design.json"):
        design = read_canonical(Design, _file(files, "design.json").decode())
        if design.code != about.route_code:
            raise ValueError("it is of another route than package.json")
    with _faults_in("criteria.json"):
        criteria = read_canonical(Criteria, _file(files, "criteria.json").decode())
    return PackageContent(
        **{one.name: getattr(about, one.name) for one in fields(PackageFacts)},
        design=design,
        criteria=criteria,
        verdict=findings["verdict"],
        fibres=findings["fibres"],
        records=records,
        first_form=first_form,
    )


def _is_made_of(text: bytes, pieces: Iterable[bytes]) -> bool:
    """Tell whether a text is these pieces one after another, without putting them together."""
    at = 0
    for piece in pieces:
        if not text.startswith(piece, at):
            return False
        at += len(piece)
    return at == len(text)


def _about(text: bytes) -> tuple[PackageFile, Mapping[str, Any] | None]:
    """Return what a package is, and as it stands there where it is of the first form."""
    if _START.validate_json(text)["form"] == PACKAGE_FORM:
        return _PACKAGE.validate_json(text, strict=True), None
    first = _FIRST_PACKAGE.validate_json(text, strict=True)
    # What that form did not say is needed for pages that nobody draws any more.
    unsaid: dict[str, Any] = {
        "supersedes": [],
        "contractor_signature": SignedBy.SERVICE_SEAL,
        "made_at": first.submitted_at,
        "declarations": {"service": "", "contractor": ""},
    }
    first_form = _FIRST_PACKAGE.dump_python(first, mode="json", exclude_defaults=True)
    return PackageFile(**vars(first) | unsaid), first_form


def _findings(text: bytes) -> FindingsFile:
    """Read the findings fibre by fibre: checked all at once, those of 864 fibres take 150 MB more."""
    document = _parsed(text)
    fibres = document.get("fibres") if isinstance(document, dict) else None
    if not isinstance(fibres, list):
        raise ValueError("it is no object with a list of fibres")
    document["fibres"] = []
    found = _FINDINGS.validate_python(document, strict=True)
    for index, fibre in enumerate(fibres):
        found["fibres"].append(_FIBRE.validate_python(fibre, strict=True))
        fibres[index] = None
    return found


def _parsed(text: bytes) -> Any:
    try:
        # Words and ids that come again and again are one object each: of 864 fibres that leaves 104 MB of 191.
        return from_json(text, allow_inf_nan=False, cache_strings="all")
    except ValueError as error:
        raise ValueError(f"it is no JSON: {error}") from error


def _records(text: bytes) -> list[PackagedRecord]:
    entries: list[Any] = _RECORDS.validate_python(_parsed(text), strict=True)["records"]
    for index, entry in enumerate(entries):
        entries[index] = _record(entry)
    return entries


def _record(entry: _StoredRecord) -> PackagedRecord:
    text = canonical_json(entry["record"])
    if canonical_json(canonical_record(read_record_document(entry["record"]))) != text:
        raise ValueError("it holds a record that is not in canonical form")
    return PackagedRecord(
        text=text.decode(),
        is_ended=entry["is_ended"],
        clock_is_flagged=entry["clock_is_flagged"],
        end_reason=entry.get("end_reason"),
        annulment_reason=entry.get("annulment_reason"),
        is_of_other_route=entry.get("is_of_other_route", False),
    )


def _file(files: Mapping[str, bytes], name: str) -> bytes:
    if name not in files:
        raise ValueError("it is not attached")
    return files[name]


@contextmanager
def _faults_in(name: str) -> Iterator[None]:
    """Say in one sentence what is wrong in a file."""
    try:
        yield
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False, include_context=False)[0]
        place = ".".join(str(step) for step in first["loc"])
        # Of a kind that is none the library repeats what was found, however long, and all the kinds there are.
        what = "it is of no known kind" if first["type"].startswith("union_tag") else first["msg"]
        raise AttachedDataError(f"{name}: {place}: {what}".replace(": :", ":")) from error
    except KeyError as error:
        raise AttachedDataError(f"{name}: {error} is missing") from error
    except ValueError as error:
        raise AttachedDataError(f"{name}: {error}") from error
