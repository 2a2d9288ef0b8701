"""The losses of splices along the route, tube by tube."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.criteria.words import Quantity
from service.vocabulary.design.layout import Layout
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding, FindingsByQuantity
from worker.package.document_model import Block, Paragraph, Section, listing
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.pictures.accumulated_loss import TubeLoss, tube_losses
from worker.package.pictures.accumulated_picture import MOST_TUBES, accumulated_pictures
from worker.package.pictures.fixed_point import fixed_text

ACCUMULATED_TITLE = "Splice losses along the route"
_NOTE = (
    "The losses of a fibre's splices, each the mean of both directions, added up from A in each tube of the first "
    "section: the highest sum of any fibre (thick), the lowest (dashed), and the mean of all (thin). Sums are exact; "
    "of a loss known only within bounds the upper one enters the highest, the lower one the lowest, both the mean. A "
    "fibre with a splice that is not known is left out, and so are the glass, connections, and splices seen only with "
    "them. Marks under a plot are splices; all plots of one wavelength have one scale."
)


def accumulated_section(content: PackageContent, findings: FindingsByQuantity) -> Section:
    """Return the sums of each wavelength; of many tubes only those that lose most are drawn."""
    layout, metrics, found = Layout(content.design), FontMetrics(), findings.get(Quantity.SPLICE_LOSS, ())
    fibres = sorted(content.fibres_in_scope.difference(content.tolerated_dark))
    judged = {one["fibre"] for one in content.fibres if "problem" not in one}
    blocks: list[Block] = []
    for criterion, own in _by_wavelength(content, found):
        tubes = tube_losses(criterion, own, layout, fibres=fibres, judged=judged)
        blocks += _blocks(criterion, tubes, layout, metrics)
    return listing(title=ACCUMULATED_TITLE, blocks=blocks, note=_NOTE)


def _by_wavelength(
    content: PackageContent, findings: Sequence[Finding]
) -> Iterator[tuple[SpliceLossCriterion, Sequence[Finding]]]:
    """Give for each wavelength the criterion about bidirectional means that most was held against."""
    by_code: dict[str, list[Finding]] = {}
    for finding in findings:
        by_code.setdefault(finding.criterion, []).append(finding)
    chosen: dict[int, SpliceLossCriterion] = {}
    for criterion in content.criteria.criteria:
        if isinstance(criterion, SpliceLossCriterion) and criterion.is_mean_of_both:
            known = chosen.setdefault(criterion.wavelength_nm, criterion)
            if len(by_code.get(criterion.code, ())) > len(by_code.get(known.code, ())):
                chosen[criterion.wavelength_nm] = criterion
    for _, criterion in sorted(chosen.items()):
        if criterion.code in by_code:
            yield criterion, by_code[criterion.code]


def _blocks(
    criterion: SpliceLossCriterion, tubes: Sequence[TubeLoss], layout: Layout, metrics: FontMetrics
) -> Iterator[Block]:
    by_loss = sorted((tube for tube in tubes if tube.known), key=lambda tube: tube.highest.fixed, reverse=True)
    unknown = [tube for tube in tubes if not tube.known]
    drawn = [*by_loss, *unknown][:MOST_TUBES]
    numbers = {tube.place.tube for tube in drawn}
    title = f"{criterion.code}: {criterion.wavelength_nm} nm, in dB"
    yield from accumulated_pictures(
        [tube for tube in tubes if tube.place.tube in numbers],
        metrics,
        length_um=layout.site_offsets_um[-1],
        title=title,
    )
    rest = [tube for tube in by_loss if tube.place.tube not in numbers]
    if rest:
        lowest, highest = min(tube.lowest.fixed for tube in rest), max(tube.highest.fixed for tube in rest)
        yield Paragraph(
            text=f"Of {len(tubes)} tubes the {len(drawn)} with the highest sums are drawn. Those of the other "
            f"{len(rest)} lie between {fixed_text(lowest)} and {fixed_text(highest)} dB at the far end.",
            is_note=True,
        )
