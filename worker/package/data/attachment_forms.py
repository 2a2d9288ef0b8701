"""The forms of the files attached to a package, and the JSON Schema of each: what any other reader can rely on."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Annotated, Any, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.findings.concession import Concession
from service.vocabulary.findings.finding import FibreDocument, VerdictDocument
from service.vocabulary.records.record import RECORD_FORM, Record
from service.vocabulary.signatures import SignatureLevel, SignedBy
from worker.package.data.content import PAGES_FORM, Now

__all__ = ["PACKAGE_FORM", "PAGES_FORM", "attachment_schemas"]

PACKAGE_FORM = "package.2"
# What packages of earlier releases have, which are read for ever.
FIRST_PACKAGE_FORM = "package.1"
DIALECT = "https://json-schema.org/draft/2020-12/schema"


class AuditHead(TypedDict):
    """The last entry of the project's audit chain when the package was made."""

    sequence: int
    hash: str


class Seal(TypedDict):
    """The level that the service's seal was to reach, and the host of the authority that gives its time."""

    level: SignatureLevel
    time_authority: NotRequired[str]


class SupersededSegment(TypedDict):
    """The engineer's word on a segment in an earlier package, and what is left of it now.

    An acceptance stands or was withdrawn, for `reason`; what was refused stands, or a package with the number
    `superseded_by` is the next one with the segment.
    """

    word: Literal["accepted", "refused"] | None
    now: Now
    superseded_by: NotRequired[str]
    reason: NotRequired[str]


class SupersededPackage(TypedDict):
    """An earlier package with some of the same segments, its decision, and what stands of it segment by segment."""

    number: str
    decided_at: NotRequired[str]
    is_deemed: bool
    reason: NotRequired[str]
    segments: dict[str, SupersededSegment]


class Declarations(TypedDict):
    """What the service and the contractor declare with the package, each in a sentence that the first page prints."""

    service: str
    contractor: str


class FirstSupersededPackage(TypedDict):
    """An earlier package with some of the same segments, and the engineer's word on each of them there."""

    number: str
    segments: dict[str, Literal["accepted", "refused"] | None]


class _AnyPackageFile(TypedDict):
    form: str
    pages_form: int
    program: str
    number: str
    verification_code: str
    verification_url: NotRequired[str]
    project_code: str
    project_name: str
    owner: str
    contractor: str
    responsible_person: str
    route_code: str
    segments: list[str]
    concessions: list[Concession]
    submitted_at: str
    design_revision: int
    design_sha256: str
    criteria_version: int
    criteria_sha256: str
    verdict_digest: str
    audit: AuditHead
    seal: Seal
    is_demonstration: bool


class FirstPackageFile(_AnyPackageFile):
    """What a package of the first form is; nobody makes one any more."""

    supersedes: list[FirstSupersededPackage]


class PackageFile(_AnyPackageFile):
    """What a package is, and what it stands on; digests are SHA-256 over canonical JSON (RFC 8785), in hexadecimal.

    The pages are drawn from the attached files and nothing else: `program` drew them at `made_at`, in the form
    `pages_form`. `contractor_signature` says by what the responsible person signs: the service's seal over the
    recorded submission, or a key of their own.
    """

    responsible_position: NotRequired[str]
    contractor_signature: SignedBy
    declarations: Declarations
    made_at: str
    supersedes: list[SupersededPackage]


class FindingsFile(TypedDict):
    """The verdict and every fibre's document, in order of fibre number: their digests are the verdict's `fibres`."""

    verdict: VerdictDocument
    verdict_digest: str
    fibres: list[FibreDocument]


class RecordEntry(TypedDict):
    """A record, and what became of it: one that has ended was replaced or withdrawn, `end_reason` says why."""

    record: Annotated[Record, Field(discriminator="kind")]
    is_ended: bool
    clock_is_flagged: bool
    end_reason: NotRequired[str]


class RecordsFile(TypedDict):
    """Every record of the submission in order of time."""

    records: list[RecordEntry]


_FORMS: Mapping[str, TypeAdapter[Any]] = {
    "criteria.json": TypeAdapter(Criteria),
    "design.json": TypeAdapter(Design),
    "findings.json": TypeAdapter(FindingsFile),
    "package.json": TypeAdapter(PackageFile),
    "records.json": TypeAdapter(RecordsFile),
}


@lru_cache(maxsize=1)
def attachment_schemas() -> Mapping[str, dict[str, Any]]:
    """Return the JSON Schema of each attached file by its name; no member is allowed that it does not name."""
    schemas = {name: form.json_schema(mode="serialization") for name, form in _FORMS.items()}
    _name_record_form(schemas["records.json"]["$defs"])
    return {name: {"$schema": DIALECT, "title": name, **_closed(schema)} for name, schema in schemas.items()}


def _name_record_form(definitions: dict[str, Any]) -> None:
    """Add the member that stands in front of what is hashed of a record, and is no part of what is posted."""
    kinds = definitions["RecordEntry"]["properties"]["record"]["discriminator"]["mapping"]
    for reference in kinds.values():
        record = definitions[reference.rpartition("/")[2]]
        record["properties"]["form"] = {"const": RECORD_FORM}
        record["required"] = ["form", *record["required"]]


def _closed(schema: dict[str, Any]) -> dict[str, Any]:
    for one in (schema, *schema.get("$defs", {}).values()):
        if "properties" in one:
            one["additionalProperties"] = False
    return schema
