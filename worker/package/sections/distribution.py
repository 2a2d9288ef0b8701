"""The losses of splices against the limits agreed for them."""

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.criteria.words import Quantity
from service.vocabulary.design.layout import Layout
from worker.package.data.content import PackageContent
from worker.package.data.findings import FindingsByQuantity
from worker.package.document_model import Section, listing
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.pictures.distribution_picture import distribution_picture
from worker.package.pictures.fixed_point import fixed_text
from worker.package.pictures.splice_distribution import Distribution, distributions
from worker.package.wording.criteria import ways_text

DISTRIBUTION_TITLE = "Splice losses against their limits"
_NOTE = (
    "Of each criterion, how many findings lie in each step of loss. A bar holds the losses from over its left end up "
    "to its right one; one bar ends with the limit, and those right of it are over it. Action limits, where the "
    "criterion has them, hold for estimates and for single directions while a closure is open. A mean is the exact sum "
    "by the count, rounded once to 0.0001 dB. What is undetermined is drawn nowhere."
)


def distribution_section(content: PackageContent, findings: FindingsByQuantity) -> Section:
    """Return a histogram for each criterion about splices."""
    criteria = [one for one in content.criteria.criteria if isinstance(one, SpliceLossCriterion)]
    metrics, found = FontMetrics(), findings.get(Quantity.SPLICE_LOSS, ())
    pictures = [
        distribution_picture(distribution, metrics, title=_title(distribution))
        for distribution in distributions(criteria, found, Layout(content.design))
    ]
    return listing(title=DISTRIBUTION_TITLE, blocks=pictures, note=_NOTE)


def _title(distribution: Distribution) -> str:
    criterion, step = distribution.criterion, fixed_text(distribution.step)
    return f"{criterion.code}: {criterion.wavelength_nm} nm, {ways_text(criterion).rstrip(',')}, by steps of {step} dB"
