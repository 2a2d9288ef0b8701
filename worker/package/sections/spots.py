"""Where the joints of each site were looked for: by the design, or by what the fibres of a route show together."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.design.design import Site
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import SpotsDocument
from service.vocabulary.quantities import UM_PER_M, metres_text, round_half_even
from worker.package.data.content import PackageContent
from worker.package.document_model import Paragraph, Section
from worker.package.phrases import UNKNOWN, numbers_text, range_text
from worker.package.sections.columns import Shown, number_column, table_of, text_column

SPOTS_TITLE = "Where the joints lie"
_NOTE = (
    "The fibres of a cable are joined in the same closures. So each site is looked for where traces that count show "
    "it on the fibres that lie in the same tubes: at the median of what these show, each fibre laid out by its own "
    "length, rounded to a metre. Off by is how far that is from where the design has it, with a plus away from A. An "
    "event of the site may lie as far from there as stands under Within, besides what a trace's pulse blurs. Where "
    "tubes differ, the least and the greatest are given. A tube with too few fibres to tell goes by the other tubes, "
    "and its fibres are not among those that show the site; where no tube has enough, their fibres tell together. On "
    "fibres that are not located the site lies as designed, moved as its neighbours are. Distances are along the "
    "fibre from A. Both ends lie where the design has them and are not listed; all else of the route is, with all its "
    "fibres."
)
_NONE = (
    "No site is located by what the fibres show together: on every fibre each joint is looked for where the design "
    "has it."
)


def spots_section(content: PackageContent) -> Section:
    """Return site by site where it lies by the design and by the fibres, or that nothing was located."""
    groups = content.verdict.get("spots", ())
    if not groups:
        return Section(title=SPOTS_TITLE, blocks=(Paragraph(text=_NONE),))
    table = table_of(_COLUMNS, list(_sites(Layout(content.design), groups)))
    return Section(title=SPOTS_TITLE, blocks=(Paragraph(text=_NOTE, is_note=True), table))


class _Spot(NamedTuple):
    """Where a site lies for the fibres of one group, and on how many it is seen."""

    from_a_m: int
    within_m: int
    seen_on: int


class _Lying(NamedTuple):
    """A site with its spots, and the fibres joined there for which there is none."""

    site: Site
    designed_um: int
    joined: Sequence[int]
    spots: Sequence[_Spot]
    unlocated: Sequence[int]


def _sites(layout: Layout, groups: Sequence[SpotsDocument]) -> Iterator[_Lying]:
    """Give each site between the ends."""
    joined = _fibres_joined(layout)
    spots: dict[str, list[_Spot]] = defaultdict(list)
    located: dict[str, set[int]] = defaultdict(set)
    for group in groups:
        fibres = [fibre for own in group["fibres"] for fibre in range(own["first"], own["last"] + 1)]
        columns = (group["sites"], group["from_a_m"], group["within_m"], group["seen_on"])
        for site, *found in zip(*columns, strict=True):
            spots[site].append(_Spot(*found))
            located[site].update(fibres)
    for one, designed_um in list(zip(layout.design.sites, layout.site_offsets_um, strict=True))[1:-1]:
        own = joined[one.id]
        yield _Lying(one, designed_um, own, spots[one.id], [fibre for fibre in own if fibre not in located[one.id]])


def _fibres_joined(layout: Layout) -> dict[str, list[int]]:
    joined: dict[str, list[int]] = defaultdict(list)
    for fibre in range(1, layout.design.fibre_count + 1):
        for site in dict.fromkeys(joint.site for joint in layout.joints_of(fibre)):
            joined[site].append(fibre)
    return joined


def _range_text(numbers: Sequence[int]) -> str:
    return range_text(first=min(numbers), last=max(numbers)) if numbers else UNKNOWN


def _off_text(one: _Lying) -> str:
    """Return how much farther from A than designed a site lies, in whole metres."""
    off_m = [round_half_even(spot.from_a_m * UM_PER_M - one.designed_um, unit=UM_PER_M) for spot in one.spots]
    ends = dict.fromkeys((min(off_m), max(off_m))) if off_m else ()
    return " to ".join(f"{number:+d}" if number else "0" for number in ends) or UNKNOWN


_COLUMNS: tuple[Shown[_Lying], ...] = (
    text_column("Site", 66, lambda one: one.site.id),
    number_column("As designed", 60, lambda one: metres_text(one.designed_um), unit="m"),
    number_column("By the fibres", 74, lambda one: _range_text([spot.from_a_m for spot in one.spots]), unit="m"),
    number_column("Off by", 62, _off_text, unit="m"),
    number_column("Within", 46, lambda one: _range_text([spot.within_m for spot in one.spots]), unit="m"),
    number_column("Fibres joined", 54, lambda one: str(len(one.joined))),
    number_column("Show it", 44, lambda one: str(sum(spot.seen_on for spot in one.spots)) if one.spots else UNKNOWN),
    text_column("Fibres not located", 140, lambda one: numbers_text(one.unlocated) or UNKNOWN),
)
