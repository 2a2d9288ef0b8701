"""The route drawn to scale, with the worst joint at each site."""

from worker.package.data.content import PackageContent
from worker.package.data.findings import FindingsByQuantity
from worker.package.document_model import Paragraph, Section
from worker.package.fonts.font_metrics import FontMetrics
from worker.package.pictures.route_picture import axis_pt_per_um, strip_picture
from worker.package.pictures.route_scale import Strip, strips
from worker.package.pictures.worst_joints import joints_by_site

ROUTE_SCALE_TITLE = "The route to scale"
_NOTE = (
    "Distances are those of the fibre from A, with slack and excess, as designed. Each site shows the joint with the "
    "least margin: of those that do not conform if there are any, else of all whose loss is known, a required one "
    "before an advisory one. In front of it stands how many findings about losses there came out worst."
)
_SHAPES = " A full square is a terminal, a ring a splice closure, a diamond a patch panel."
_SEGMENTS = " A full bar is a segment that is submitted, an empty one a segment that is not."
_ONE_SCALE = " All strips are drawn to one scale."


def route_scale_section(content: PackageContent, findings: FindingsByQuantity) -> Section:
    """Return the route in as many strips as its sites need."""
    metrics = FontMetrics()
    parts = strips(content, joints_by_site(findings))
    pt_per_um = axis_pt_per_um(parts)
    note = _NOTE + _SHAPES + _SEGMENTS + (_ONE_SCALE if len(parts) > 1 else "")
    pictures = [
        strip_picture(strip, metrics, pt_per_um=pt_per_um, title=_title(strip, number, count=len(parts)))
        for number, strip in enumerate(parts, start=1)
    ]
    return Section(title=ROUTE_SCALE_TITLE, blocks=(Paragraph(text=note, is_note=True), *pictures))


def _title(strip: Strip, number: int, *, count: int) -> str | None:
    return None if count == 1 else f"Strip {number} of {count}, {strip.sites[0].site.id} to {strip.sites[-1].site.id}"
