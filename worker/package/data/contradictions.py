"""Hold the data of a package against each other: digests, counts and outcomes, worked out anew."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

from service.vocabulary.canonical import digest_of
from service.vocabulary.criteria.words import Force
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.findings.words import Outcome
from worker.judgement.documents.route import write_segment
from worker.judgement.fibre.findings import Counts, count_outcomes, counts_in
from worker.judgement.route.settle import tolerated_dark
from worker.package.data.content import PackageContent
from worker.package.phrases import count_text


def contradictions(content: PackageContent) -> Iterator[str]:
    """Give each thing that one part of the data says and another part does not come to, in a sentence."""
    yield from _other_digests(content)
    yield from _other_fibres(content)
    yield from _other_dark_fibres(content)
    yield from _other_sites(content)
    yield from _other_segments(content)


def _other_digests(content: PackageContent) -> Iterator[str]:
    verdict = content.verdict
    design = digest_of(content.design.model_dump(exclude_none=True))
    criteria = digest_of(content.criteria.model_dump(exclude_none=True))
    for what, own, stated in (
        ("verdict", digest_of(verdict), {content.verdict_digest}),
        ("design", design, {content.design_sha256, verdict["design_sha256"]}),
        ("criteria", criteria, {content.criteria_sha256, verdict["criteria_sha256"]}),
    ):
        if stated != {own}:
            yield f"The digest of the attached {what} is {own}, and not the one that is stated."


def _other_fibres(content: PackageContent) -> Iterator[str]:
    numbers = [fibre["fibre"] for fibre in content.fibres]
    if numbers != list(range(1, content.design.fibre_count + 1)) or len(numbers) != len(content.verdict["fibres"]):
        yield f"The route has {content.design.fibre_count} fibres, and not each is in the findings once, in order."
        return
    stated = zip(content.fibres, content.verdict["fibres"], strict=True)
    other = [fibre["fibre"] for fibre, digest in stated if digest_of(fibre) != digest]
    if other:
        count = count_text(len(other), one="fibre", many="fibres")
        yield f"The findings of {count}, first of {other[0]}, have another digest than the verdict states."


def _other_dark_fibres(content: PackageContent) -> Iterator[str]:
    dark = [fibre["fibre"] for fibre in content.fibres if fibre.get("is_dark", False)]
    if list(content.tolerated_dark) != tolerated_dark(dark, most=content.criteria.dark_fibres_tolerated):
        yield "The verdict tolerates other dark fibres than the findings and the criteria give."


def _other_sites(content: PackageContent) -> Iterator[str]:
    groups = content.verdict.get("spots", ())
    ranges = [(own["first"], own["last"]) for group in groups for own in group["fibres"]]
    is_each_once = all(before[1] < behind[0] for before, behind in pairwise(sorted(ranges)))
    is_known = all({*group["sites"]} <= {*content.site_order} for group in groups)
    if not (is_known and is_each_once and all(1 <= a <= b <= content.design.fibre_count for a, b in ranges)):
        yield "The verdict locates sites or fibres that the design does not have, or a fibre twice."


def _other_segments(content: PackageContent) -> Iterator[str]:
    segments = [segment.id for segment in content.design.segments]
    if sorted(segments) != sorted(content.verdict["segments"]):
        yield "The verdict is about other segments than the design."
        return
    counted = list(_counts(content))
    for segment in segments:
        if content.verdict["segments"][segment] != write_segment(counts_in(segment, counted)):
            yield f"Segment {segment} does not come to what the verdict says by the findings attached."


def _counts(content: PackageContent) -> Iterator[Mapping[str, Counts]]:
    layout = Layout(content.design)
    for fibre in content.fibres:
        if fibre["fibre"] not in content.tolerated_dark:
            yield count_outcomes(layout.segments_of_fibre.get(fibre["fibre"], ()), _required(fibre["findings"]))
    segments = [segment.id for segment in content.design.segments]
    yield count_outcomes(segments, _required(content.verdict["findings"]))


def _required(findings: Iterable[FindingDocument]) -> Mapping[tuple[Outcome, tuple[str, ...]], int]:
    required = [one for one in findings if one["force"] == Force.REQUIRED]
    return Counter([(Outcome(one["outcome"]), tuple(one["segments"])) for one in required])
