"""The forms of the files attached to a package, and the JSON Schema of each: what any other reader can rely on."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.findings.finding import FibreDocument, VerdictDocument
from service.vocabulary.records.record import RECORD_FORM, Record
from worker.package.data.content import FirstFacts, PackageFacts, Word

PACKAGE_FORM = "package.2"
# What packages of earlier releases have, which are read for ever.
FIRST_PACKAGE_FORM = "package.1"
DIALECT = "https://json-schema.org/draft/2020-12/schema"


class Declarations(TypedDict):
    """What the service and the contractor declare with the package, each in a sentence that the first page prints."""

    service: str
    contractor: str


class FirstSupersededPackage(TypedDict):
    """An earlier package with some of the same segments, and the engineer's word on each of them there."""

    number: str
    segments: dict[str, Word | None]


@dataclass(frozen=True, kw_only=True)
class FirstPackageFile(FirstFacts):
    """What a package of the first form is; nobody makes one any more."""

    form: str
    route_code: str
    supersedes: list[FirstSupersededPackage]


@dataclass(frozen=True, kw_only=True)
class PackageFile(PackageFacts):
    """What a package is, and what it stands on; digests are SHA-256 over canonical JSON (RFC 8785), in hexadecimal.

    The pages are drawn from the attached files and nothing else: `program` drew them at `made_at`, in the form
    `pages_form`. `contractor_signature` says by what the responsible person signs: the service's seal over the
    recorded submission, or a key of their own.
    """

    form: str
    route_code: str
    declarations: Declarations


class FindingsFile(TypedDict):
    """The verdict and every fibre's document, in order of fibre number: their digests are the verdict's `fibres`."""

    verdict: VerdictDocument
    verdict_digest: str
    fibres: list[FibreDocument]


class RecordEntry(TypedDict):
    """A record, and what became of it: one that has ended was replaced or withdrawn, `end_reason` says why.

    Work that ended goes on voiding the tests before it unless the engineer annulled it, with `annulment_reason`.
    One `is_of_other_route` was posted to another route of the project: the fibres that it names are that one's.
    """

    record: Annotated[Record, Field(discriminator="kind")]
    is_ended: bool
    clock_is_flagged: bool
    end_reason: NotRequired[str]
    annulment_reason: NotRequired[str]
    is_of_other_route: NotRequired[bool]


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
