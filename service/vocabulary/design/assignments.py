"""The fibre assignment table: what each fibre of a route is at each site, by the design.

One row for each fibre and site: what it is on the side towards A and on the side towards B, the port or the tray in
between, and the joints that it has there.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import NamedTuple

from service.vocabulary.design.design import PlannedFibres
from service.vocabulary.design.layout import Joint, Layout, LocalFibre


class Assignment(NamedTuple):
    """A fibre at a site; `port` is the one that its fibre from A ends on, `to_port` the other end of its patch cord."""

    fibre: int
    site: str
    action: str
    towards_a: LocalFibre | None
    port: int | None
    to_port: int | None
    tray: int | None
    joints: str
    towards_b: LocalFibre | None


HEADINGS = (
    "fibre",
    "site",
    "action",
    *(f"towards_a_{member}" for member in LocalFibre._fields),
    "port",
    "to_port",
    "tray",
    "joints",
    *(f"towards_b_{member}" for member in LocalFibre._fields),
)
_NOWHERE = (None,) * len(LocalFibre._fields)


def assignments_of(layout: Layout, fibres: Iterable[int], *, site: str | None = None) -> Iterator[Assignment]:
    """Give the rows of some fibres in order of fibre, then of the sites from A; at one site, where it is named."""
    sites = [(index, one) for index, one in enumerate(layout.design.sites) if site in {None, one.id}]
    local = cache(layout.local_fibre)
    # Fibres to which the same happens everywhere share their joints, and so their text.
    texts: dict[int, Mapping[str, str]] = {}
    for fibre in fibres:
        alike = layout.first_alike(fibre)
        if alike not in texts:
            texts[alike] = _joints_text(layout.joints_of(fibre))
        joints = texts[alike]
        sides = [None, *(local(index, number) for index, number in enumerate(layout.cable_fibres(fibre))), None]
        for index, one in sites:
            planned = layout.planned(one.id, fibre)
            port, to_port = (None, None) if planned is None else _ports(planned, fibre)
            yield Assignment(
                fibre,
                one.id,
                layout.action(one, fibre).value,
                sides[index],
                port,
                to_port,
                None if planned is None else planned.tray,
                joints.get(one.id, ""),
                sides[index + 1],
            )


def flat(row: Assignment) -> Sequence[object]:
    """Return a row as the values of one line of a table, in the order of the headings."""
    return (*row[:3], *(row.towards_a or _NOWHERE), *row[4:8], *(row.towards_b or _NOWHERE))


def _joints_text(joints: Iterable[Joint]) -> Mapping[str, str]:
    texts: dict[str, str] = {}
    for joint in joints:
        before = f"{texts[joint.site]}, " if joint.site in texts else ""
        texts[joint.site] = f"{before}{joint.position} {joint.kind.value}"
    return texts


def _ports(planned: PlannedFibres, fibre: int) -> tuple[int | None, int | None]:
    behind = fibre - planned.fibres.first
    port, to_port = planned.port, planned.to_port
    return None if port is None else port + behind, None if to_port is None else to_port + behind
