"""The certificate page in words: who submits what to whom, and what it came to."""

from collections.abc import Iterator

from service.vocabulary.layout import Layout
from service.vocabulary.paid import cable_length_m
from worker.package.content import EarlierPackage, PackageContent
from worker.package.pieces import Certificate, Column, Fact, Facts, Kind, Paragraph, SignatureFrame, Table
from worker.package.wording import count_text, ranges_text, time_text

# More rows would reach into the signature frames; the section on segments lists them all.
SEGMENTS_ON_PAGE = 5
# Of each word on an earlier package; more of them are counted.
SEGMENTS_NAMED = 2

_SEAL_SAYS = (
    "The service's seal says that the service made this document from the design, criteria, findings and records "
    "attached to it, and that nothing in it has changed since."
)
_SEAL_SAYS_NOT = (
    "The seal does not say that the records are true, that the work is accepted, or that any place or fibre is safe. "
    "Acceptance is the act of the owner's engineer"
)

_FRAMES_NOTE = (
    "A frame with the service's seal says so, and what is sealed: the submission; the decision, by segments and "
    "concessions granted. Any other signature is by the person's own key; a frame without one has not been signed."
)


def build_certificate(content: PackageContent, *, weighed: Facts) -> Certificate:
    """Return the first page; `weighed` is what nobody may miss before deciding."""
    rows = tuple(_segment_rows(content))
    left_out = len(rows) - SEGMENTS_ON_PAGE
    return Certificate(
        title="Acceptance package",
        number=content.number,
        route=content.design.name,
        statement=f"Submitted by {content.contractor} to {content.owner} for the acceptance of "
        f"{count_text(len(rows), one='segment', many='segments')} of this route.",
        facts=_facts(content),
        segments=Table(columns=_SEGMENT_COLUMNS, rows=rows[:SEGMENTS_ON_PAGE]),
        segments_note=f"and {left_out} more, listed under Segments and sites" if left_out > 0 else None,
        weighed=weighed,
        digests=_digests(content),
        verification_code=content.verification_code,
        verification_url=content.verification_url,
        seal=_seal(content),
        contractor_frame=SignatureFrame(role="Contractor's responsible person", name=content.responsible_person),
        engineer_frame=SignatureFrame(role="Owner's engineer", name=None),
        frames_note=_FRAMES_NOTE,
    )


def _seal(content: PackageContent) -> tuple[Paragraph, ...]:
    days = content.criteria.deemed_after_days
    deemed = "" if days is None else f", or deemed by the criteria {days} days after issue, as they say"
    return Paragraph(text=_SEAL_SAYS), Paragraph(text=f"{_SEAL_SAYS_NOT}{deemed}.")


_SEGMENT_COLUMNS = (
    Column(heading="Segment", share=88),
    Column(heading="Billing item", share=62),
    Column(heading="Fibres", share=58),
    Column(heading="Cable", unit="m", share=48, kind=Kind.NUMBER),
    Column(heading="Conforming", share=49, kind=Kind.NUMBER),
    Column(heading="Nonconforming", share=62, kind=Kind.NUMBER),
    Column(heading="Undetermined", share=56, kind=Kind.NUMBER),
    Column(heading="Outcome", share=77, kind=Kind.OUTCOME),
)


def _segment_rows(content: PackageContent) -> Iterator[tuple[str, ...]]:
    layout = Layout(content.design)
    by_id = {segment.id: segment for segment in content.design.segments}
    for id_ in content.segments:
        segment, came_to = by_id[id_], content.verdict["segments"][id_]
        counts = came_to["counts"]
        yield (
            segment.id,
            segment.billing_item,
            ranges_text(segment.fibres),
            cable_length_m(layout, segment),
            str(counts["conforming"]),
            str(counts["nonconforming"]),
            str(counts["undetermined"]),
            came_to["outcome"],
        )


def _facts(content: PackageContent) -> Facts:
    return Facts(
        facts=(
            Fact(label="Project", value=f"{content.project_code}, {content.project_name}"),
            Fact(label="Route", value=f"{content.design.code}, {content.design.name}"),
            Fact(label="Owner", value=content.owner),
            Fact(label="Contractor", value=content.contractor),
            Fact(label="Submitted", value=time_text(content.submitted_at)),
            Fact(label="Judged by", value=_judged_by(content)),
            *_supersedes(content),
            Fact(label="Seal", value=_seal_text(content)),
        )
    )


def _judged_by(content: PackageContent) -> str:
    criteria = f"criteria version {content.criteria_version}, {content.criteria.title}"
    return f"design revision {content.design_revision}; {criteria}"


def _seal_text(content: PackageContent) -> str:
    level, authority = content.seal.level.name.replace("_", "-"), content.seal.time_authority
    time = "the service's own time" if authority is None else f"the time of the authority at {authority}"
    return f"PAdES {level}, with {time}"


def _supersedes(content: PackageContent) -> Iterator[Fact]:
    if content.supersedes:
        # In one line: each segment with its word is in the data attached.
        yield Fact(label="Supersedes", value="; ".join(map(_earlier_text, content.supersedes)))


def _earlier_text(earlier: EarlierPackage) -> str:
    by_word: dict[str, list[str]] = {}
    for segment, word in earlier.segments.items():
        by_word.setdefault(word or "not decided", []).append(segment)
    said = (
        f"{word}: {' '.join(segments) if len(segments) <= SEGMENTS_NAMED else f'{len(segments)} segments'}"
        for word, segments in by_word.items()
    )
    return f"{earlier.number} ({', '.join(said)})"


def _digests(content: PackageContent) -> Facts:
    return Facts(
        facts=(
            Fact(label="Verdict", value=content.verdict_digest, is_code=True),
            Fact(label="Design", value=content.design_sha256, is_code=True),
            Fact(label="Criteria", value=content.criteria_sha256, is_code=True),
        )
    )
