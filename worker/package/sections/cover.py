"""The cover in words: who submits what to whom, and what it came to."""

from collections.abc import Iterator
from typing import NamedTuple

from service.vocabulary.design.billing_quantities import cable_length_m
from service.vocabulary.design.design import Segment
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import SegmentOutcome
from service.vocabulary.signatures import SignedBy
from worker.package.data.content import PackageContent
from worker.package.data.declarations import SIGNING_PAGE, declarations
from worker.package.document_model import Cover, Fact, Facts
from worker.package.phrases import count_text, shortened, time_text
from worker.package.sections.columns import Shown, number_column, outcome_column, table_of, text_column
from worker.package.sections.earlier import EARLIER_TITLE, earlier_text
from worker.package.wording.values import ranges_text

# More rows would push the declarations off the page; the section on segments lists them all.
SEGMENTS_ON_PAGE = 5
# More earlier packages would push the rest off the page; the section on them has them all.
EARLIER_NAMED = 2

_SAYS_NOT = (
    "It does not say that the records are true, that the work is accepted, or that any place or fibre is safe: "
    "acceptance is the act of the owner's engineer"
)
_BY_SEAL = (
    "It was recorded with the contractor's token and stands under the service's seal; there is no signature by a key "
    "of this person's own."
)
_BY_OWN_KEY = (
    f"It is signed with a key of this person's own on page {SIGNING_PAGE}: as long as the file has no such signature, "
    "it is awaited."
)


def build_cover(content: PackageContent, *, summary: Facts) -> Cover:
    """Return the first page; `summary` is what nobody may miss before deciding."""
    submitted = _submitted(content)
    left_out = len(submitted) - SEGMENTS_ON_PAGE
    return Cover(
        title="Acceptance package",
        number=content.number,
        route=content.design.name,
        statement=f"Submitted by {content.contractor} to {content.owner} for the acceptance of "
        f"{count_text(len(submitted), one='segment', many='segments')} of this route.",
        facts=_facts(content),
        segments=table_of(_SEGMENT_COLUMNS, submitted[:SEGMENTS_ON_PAGE]),
        segments_note=f"and {left_out} more, listed under Segments and sites" if left_out > 0 else None,
        summary=summary,
        digests=_digests(content),
        verification_code=content.verification_code,
        verification_url=content.verification_url,
        declared=_declared(content),
    )


class _Submitted(NamedTuple):
    """A segment submitted, and what its findings come to."""

    segment: Segment
    cable_m: str
    came_to: SegmentOutcome


def _submitted(content: PackageContent) -> list[_Submitted]:
    layout = Layout(content.design)
    by_id = {segment.id: segment for segment in content.design.segments}
    return [
        _Submitted(by_id[id_], cable_length_m(layout, by_id[id_]), content.verdict["segments"][id_])
        for id_ in content.segments
    ]


_SEGMENT_COLUMNS: tuple[Shown[_Submitted], ...] = (
    text_column("Segment", 88, lambda one: one.segment.id),
    text_column("Billing item", 62, lambda one: one.segment.billing_item),
    text_column("Fibres", 58, lambda one: ranges_text(one.segment.fibres)),
    number_column("Cable", 48, lambda one: one.cable_m, unit="m"),
    number_column("Conforming", 49, lambda one: str(one.came_to["counts"]["conforming"])),
    number_column("Nonconforming", 62, lambda one: str(one.came_to["counts"]["nonconforming"])),
    number_column("Undetermined", 56, lambda one: str(one.came_to["counts"]["undetermined"])),
    outcome_column(77, lambda one: one.came_to["outcome"]),
)


def _facts(content: PackageContent) -> Facts:
    return Facts(
        facts=(
            Fact(label="Project", value=f"{content.project_code}, {content.project_name}"),
            Fact(label="Route", value=f"{content.design.code}, {content.design.name}"),
            Fact(label="Owner", value=content.owner),
            Fact(label="Contractor", value=content.contractor),
            Fact(label="Submitted", value=time_text(content.submitted_at)),
            Fact(label="By design", value=_design_text(content)),
            Fact(label="By criteria", value=f"version {content.criteria_version}, {content.criteria.title}"),
            *_supersedes(content),
            Fact(label="Seal", value=_seal_text(content)),
        )
    )


def _design_text(content: PackageContent) -> str:
    agreed = "" if content.design_agreed_at is None else f", agreed on {time_text(content.design_agreed_at)}"
    return f"revision {content.design_revision}{agreed}"


def _seal_text(content: PackageContent) -> str:
    level, authority = content.seal.level.name.replace("_", "-"), content.seal.time_authority
    time = "the service's own time" if authority is None else f"the time of the authority at {authority}"
    return f"PAdES {level}, with {time}"


def _supersedes(content: PackageContent) -> Iterator[Fact]:
    for number, earlier in enumerate(content.supersedes[:EARLIER_NAMED]):
        yield Fact(label="" if number else "Earlier packages", value=earlier_text(earlier, content))
    left_out = len(content.supersedes) - EARLIER_NAMED
    if left_out > 0:
        more = count_text(left_out, one="earlier package", many="earlier packages")
        yield Fact(label="", value=f"and {more} more, listed under {EARLIER_TITLE}")


def _digests(content: PackageContent) -> Facts:
    digests = {
        "Verdict": content.verdict_digest,
        "Design": content.design_sha256,
        "Criteria": content.criteria_sha256,
    }
    return Facts(facts=tuple(Fact(label=label, value=value, is_code=True) for label, value in digests.items()))


def _declared(content: PackageContent) -> Facts:
    """Return what each party declares, and what it does not; the engineer's word is still to come."""
    declared = declarations(content)
    signed = _BY_OWN_KEY if content.contractor_signature is SignedBy.OWN_KEY else _BY_SEAL
    said = {
        "Service": f"{declared['service']} {_SAYS_NOT}{_deemed(content)}.",
        "Contractor": f"{declared['contractor']} {signed}",
        "Owner's engineer": _of_engineer(content),
    }
    return Facts(facts=tuple(Fact(label=label, value=value) for label, value in said.items()))


def _of_engineer(content: PackageContent) -> str:
    return (
        f"Accepts or refuses each segment for {shortened(content.owner)} on page {SIGNING_PAGE}, under the service's "
        "seal: as long as that page shows no such seal, this file holds no decision."
    )


def _deemed(content: PackageContent) -> str:
    days = content.criteria.deemed_after_days
    return "" if days is None else f", or deemed by the criteria {days} days after issue, as they say"
