"""The places of a fibre: joints that lie at one spot, which a trace shows as one event."""

from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

from service.vocabulary.layout import Joint, Layout
from service.vocabulary.words import JointKind, SiteKind


class Place(NamedTuple):
    """The joints of one fibre at one site.

    At a terminal and at a patch panel they form a group: a splice a few metres behind a connection lies in its dead
    zone.
    """

    site: str
    site_index: int
    from_a_um: int
    joints: tuple[Joint, ...]
    is_closure: bool
    is_end: bool

    @property
    def is_group(self) -> bool:
        """Tell whether several joints share one reading."""
        return len(self.joints) > 1

    @property
    def pair(self) -> Joint | None:
        """The first mated pair, after which the group is named."""
        return next((joint for joint in self.joints if joint.kind is JointKind.PAIR), None)


def places_of(layout: Layout, joints: Sequence[Joint]) -> tuple[Place, ...]:
    """Return the places of a fibre's joints in route order."""
    sites = layout.design.sites
    return tuple(
        Place(
            site=sites[index].id,
            site_index=index,
            from_a_um=layout.site_offsets_um[index],
            joints=tuple(members),
            is_closure=sites[index].kind is SiteKind.SPLICE_CLOSURE,
            is_end=index in {0, len(sites) - 1},
        )
        for index, members in groupby(joints, key=lambda joint: joint.site_index)
    )
