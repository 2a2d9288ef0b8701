"""What makes a design one that can be built: every fault is said, with a pointer to its member."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice

from service.vocabulary.design.colours import SCHEMES
from service.vocabulary.design.design import Design, FibreRange, PlannedFibres, Site
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import FibreAction, JointKind, SiteKind
from service.vocabulary.validation import Fault

# One wrong entry crosses every fibre after it in every section behind it.
_MOST_CROSSINGS = 100
_MOST_CABLE_FIBRES = 1728
_ENDS = "a route ends in a terminal, a stub or a closure not built yet; terminals and stubs are at its ends alone"


def faults_in(design: Design) -> list[Fault]:
    """Return everything that keeps a design from being a route."""
    faults = [*_shape_faults(design), *_segment_faults(design), *_plan_faults(design), *_tray_faults(design)]
    return faults or list(islice(_crossing_faults(design), _MOST_CROSSINGS))


def _shape_faults(design: Design) -> Iterator[Fault]:
    if len(design.sections) != len(design.sites) - 1:
        yield Fault(
            pointer="/sections",
            detail=f"{len(design.sites)} sites in line are joined by {len(design.sites) - 1} sections",
        )
    yield from _repeated("/sites", [site.id for site in design.sites])
    yield from _repeated("/sections", [section.id for section in design.sections])
    yield from _repeated("/segments", [segment.id for segment in design.segments])
    for index, site in enumerate(design.sites):
        is_end = index in {0, len(design.sites) - 1}
        if site.kind is (SiteKind.PATCH_PANEL if is_end else SiteKind.TERMINAL) or (
            site.kind is SiteKind.STUB and not is_end
        ):
            yield Fault(pointer=f"/sites/{index}/kind", detail=_ENDS)
        if site.kind in {SiteKind.SPLICE_CLOSURE, SiteKind.STUB} and site.termination is not None:
            yield Fault(pointer=f"/sites/{index}/termination", detail=f"fibres do not end in a {site.kind.value}")
        if site.pigtail_fibre_type is not None and not site.has_pigtails:
            yield Fault(pointer=f"/sites/{index}/pigtail_fibre_type", detail="no fibre is spliced to a pigtail here")
        if site.patch_cord and site.kind is not SiteKind.PATCH_PANEL:
            yield Fault(pointer=f"/sites/{index}/patch_cord", detail="only a patch panel has patch cords")
    if SiteKind.TERMINAL not in {design.sites[0].kind, design.sites[-1].kind}:
        yield Fault(
            pointer="/sites/0/kind", detail="one end at least is a terminal: from nowhere else can it be tested"
        )
    for index, section in enumerate(design.sections):
        if section.colour_scheme not in SCHEMES:
            yield Fault(pointer=f"/sections/{index}/colour_scheme", detail=f"one of {', '.join(sorted(SCHEMES))}")


def _repeated(pointer: str, ids: Sequence[str]) -> Iterator[Fault]:
    seen: set[str] = set()
    for index, id_ in enumerate(ids):
        if id_ in seen:
            yield Fault(pointer=f"{pointer}/{index}/id", detail="named twice")
        seen.add(id_)


def _segment_faults(design: Design) -> Iterator[Fault]:
    for member in ("sites", "sections"):
        order = {thing.id: place for place, thing in enumerate(getattr(design, member))}
        owner: dict[str, str] = {}
        for index, segment in enumerate(design.segments):
            named: list[str] = getattr(segment, member)
            pointer = f"/segments/{index}/{member}"
            for number, id_ in enumerate(named):
                if id_ not in order:
                    yield Fault(pointer=f"{pointer}/{number}", detail="is not on the route")
                elif owner.setdefault(id_, segment.id) != segment.id:
                    yield Fault(pointer=f"{pointer}/{number}", detail="belongs to another segment already")
            places = sorted(order[id_] for id_ in named if id_ in order)
            if places and places != list(range(places[0], places[0] + len(places))):
                yield Fault(pointer=pointer, detail="a segment is a run of neighbours, each named once")
        # Cable may pass that this contract pays for nowhere; a joint is somebody's.
        for id_, place in order.items() if member == "sites" else ():
            if id_ not in owner:
                yield Fault(pointer=f"/sites/{place}/id", detail="belongs to no segment")
    for index, segment in enumerate(design.segments):
        scope: set[int] = set()
        for number, fibres in enumerate(segment.fibres):
            pointer = f"/segments/{index}/fibres/{number}"
            yield from _range_faults(pointer, fibres, design)
            if not scope.isdisjoint(fibres.numbers()):
                yield Fault(pointer=pointer, detail="names a fibre that the segment has in scope already")
            scope.update(fibres.numbers())


def _plan_faults(design: Design) -> Iterator[Fault]:
    sites = {site.id: site for site in design.sites}
    unbuilt = {site.id for site in (design.sites[0], design.sites[-1]) if site.kind is not SiteKind.TERMINAL}
    used: set[tuple[str, int]] = set()
    planned: set[tuple[str, int]] = set()
    for index, entry in enumerate(design.splice_plan):
        pointer = f"/splice_plan/{index}"
        if entry.site not in sites:
            yield Fault(pointer=f"{pointer}/site", detail="is not on the route")
            continue
        yield from _range_faults(f"{pointer}/fibres", entry.fibres, design)
        yield from _action_faults(pointer, entry, sites[entry.site], is_unbuilt=entry.site in unbuilt)
        entries = {(entry.site, fibre) for fibre in entry.fibres.numbers()}
        if not planned.isdisjoint(entries):
            twice = min(fibre for _, fibre in planned & entries)
            yield Fault(pointer=f"{pointer}/fibres", detail=f"fibre {twice} is planned twice at this site")
        planned |= entries
        for member, first in (("port", entry.port), ("to_port", entry.to_port)):
            ports = () if first is None else {(entry.site, first + n) for n in range(len(entry.fibres.numbers()))}
            if not used.isdisjoint(ports):
                twice = min(port for _, port in used & set(ports))
                yield Fault(pointer=f"{pointer}/{member}", detail=f"port {twice} has a fibre already")
            used.update(ports)


def _action_faults(pointer: str, entry: PlannedFibres, site: Site, *, is_unbuilt: bool) -> Iterator[Fault]:
    kind = site.kind
    ends_here = entry.action is FibreAction.TERMINATED
    if is_unbuilt and entry.action is not FibreAction.STORED:
        yield Fault(pointer=f"{pointer}/action", detail="at an end that is not built yet fibres are stored")
    elif not is_unbuilt and ends_here == (kind is SiteKind.SPLICE_CLOSURE):
        yield Fault(pointer=f"{pointer}/action", detail=f"a fibre is not {entry.action.value} in a {kind.value}")
    if entry.to_cable_fibre is not None and entry.action is not FibreAction.SPLICED:
        yield Fault(pointer=f"{pointer}/to_cable_fibre", detail="only a spliced fibre goes on under another number")
    is_spliced = entry.action is FibreAction.SPLICED or (ends_here and site.has_pigtails)
    if entry.splicing is not None and not is_spliced:
        yield Fault(pointer=f"{pointer}/splicing", detail="only where a fibre is spliced")
    if entry.port is not None and not ends_here:
        yield Fault(pointer=f"{pointer}/port", detail="only a terminated fibre ends on a port")
    if entry.to_port is not None and (entry.port is None or not site.patch_cord):
        yield Fault(pointer=f"{pointer}/to_port", detail="only from a port, and where a patch panel has patch cords")


def _tray_faults(design: Design) -> Iterator[Fault]:
    layout = Layout(design)
    left: dict[tuple[str, int], int] = {}
    for index, site in enumerate(design.sites):
        for number, tray in enumerate(site.trays):
            if (site.id, tray.number) in left:
                yield Fault(pointer=f"/sites/{index}/trays/{number}/number", detail="named twice")
            left[site.id, tray.number] = tray.capacity
    for index, entry in enumerate(design.splice_plan):
        if entry.tray is None or entry.site not in layout.site_index:
            continue
        pointer, named = f"/splice_plan/{index}/tray", (entry.site, entry.tray)
        if named not in left:
            yield Fault(pointer=pointer, detail="is no tray of this site")
            continue
        was_too_full = left[named] < 0
        left[named] -= _splices(layout, entry)
        if left[named] < 0 and not was_too_full:
            yield Fault(pointer=pointer, detail=f"the tray has room for {-left[named]} splices fewer")


def splices_by_tray(layout: Layout) -> Mapping[tuple[str, int], int]:
    """Return how many splices of a route lie in each tray that its plan names, by site and number."""
    splices: Counter[tuple[str, int]] = Counter()
    for entry in layout.design.splice_plan:
        if entry.tray is not None:
            splices[entry.site, entry.tray] += _splices(layout, entry)
    return splices


def _splices(layout: Layout, entry: PlannedFibres) -> int:
    joints = layout.joint_kinds(layout.site_index[entry.site], entry.action)
    return joints.count(JointKind.SPLICE) * len(entry.fibres.numbers())


def _range_faults(pointer: str, fibres: FibreRange, design: Design) -> Iterator[Fault]:
    if fibres.first > fibres.last:
        yield Fault(pointer=pointer, detail="first is above last")
    if fibres.last > design.fibre_count:
        yield Fault(pointer=pointer, detail=f"the route has {design.fibre_count} fibres")


def _crossing_faults(design: Design) -> Iterator[Fault]:
    layout = Layout(design)
    before: Sequence[int] = ()
    shared: list[tuple[int, int, int]] = []
    for index, (section, numbers) in enumerate(zip(design.sections, layout.cable_numbers, strict=True)):
        # Sections through which nothing moves have one list: looking again at each would take seconds on a long route.
        if numbers is not before:
            shared = list(_shared(numbers))
        for other, fibre, cable_fibre in shared:
            detail = f"fibres {other} and {fibre} would share cable fibre {cable_fibre} in section {index + 1}"
            yield Fault(pointer="/splice_plan", detail=detail)
        most = section.fibre_count or _MOST_CABLE_FIBRES
        if max(numbers) > most:
            detail = f"the cable has {most} fibres, and the route would take fibre {max(numbers)} of it"
            yield Fault(pointer=f"/sections/{index}/fibre_count", detail=detail)
        if index and numbers is not before:
            yield from _uncut_faults(layout, index, before, numbers)
        before = numbers


def _shared(numbers: Sequence[int]) -> Iterator[tuple[int, int, int]]:
    taken: dict[int, int] = {}
    for fibre, cable_fibre in enumerate(numbers, start=1):
        other = taken.setdefault(cable_fibre, fibre)
        if other != fibre:
            yield other, fibre, cable_fibre


def _uncut_faults(layout: Layout, index: int, before: Sequence[int], behind: Sequence[int]) -> Iterator[Fault]:
    site = layout.design.sites[index]
    for fibre, (there, here) in enumerate(zip(before, behind, strict=True), start=1):
        if there != here and layout.action(site, fibre) is FibreAction.UNCUT:
            detail = f"fibre {fibre} is uncut at {site.id}: it is cable fibre {there} before and behind"
            yield Fault(pointer=f"/sections/{index}/first_cable_fibre", detail=detail)
            return
