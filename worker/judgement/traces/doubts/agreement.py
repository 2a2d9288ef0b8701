"""Where the traces of one fibre contradict each other: what one takes for a joint, another shows elsewhere."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from statistics import median_low
from typing import NamedTuple

from worker.judgement.traces.event_assignment import assign
from worker.judgement.traces.targets import Target


class Sighting(NamedTuple):
    """An event of a trace that proves its length, by how far along the span it lies."""

    along_um: int
    record: str
    is_forward: bool


class Cluster(NamedTuple):
    """Events of different traces at one distance; `is_firm` tells whether both directions show it.

    It is blurred where one trace shows two events so near that the others' could be either.
    """

    along_um: int
    is_firm: bool
    is_blurred: bool


class Agreement(NamedTuple):
    """The targets, by index, of which it is uncertain which event is theirs.

    `rivalled` are those that have another event within reach besides their own, with how far along the span their own
    lies: what a trace shows there anywhere else may be that other event.
    """

    doubted: frozenset[int]
    rivalled: Mapping[int, int]


def find_doubts(sightings: Sequence[Sighting], targets: Sequence[Target], *, same_spot_um: int) -> Agreement:
    """Return which targets the sightings of several traces leave in doubt; sightings of one joint lie near together."""
    clusters = _clusters(sightings, same_spot_um=same_spot_um)
    found = assign(targets, [cluster.along_um for cluster in clusters])
    own = {
        index: clusters[events[0]]
        for index, events in enumerate(found.events_of_target)
        if events and not targets[index].is_group
    }
    near = {index: [one for one in clusters if _reaches(targets[index], one)] for index in own}
    return Agreement(
        # What both directions show is likelier the joint than what one does. Where nearness says otherwise, either may
        # be wrong.
        doubted=frozenset(index for index, cluster in own.items() if _is_doubtful(cluster, near[index])),
        rivalled={index: cluster.along_um for index, cluster in own.items() if len(near[index]) > 1},
    )


def _reaches(target: Target, cluster: Cluster) -> bool:
    return target.within_um is not None and target.off_um(cluster.along_um) <= target.within_um


def _is_doubtful(own: Cluster, near: Iterable[Cluster]) -> bool:
    return own.is_blurred or (not own.is_firm and any(cluster.is_firm for cluster in near))


def _clusters(sightings: Sequence[Sighting], *, same_spot_um: int) -> list[Cluster]:
    gathered = list(_gather(sightings, same_spot_um=same_spot_um))
    blurred: set[int] = set()
    for index, (own, behind) in enumerate(pairwise(gathered)):
        shared = {sighting.record for sighting in own} & {sighting.record for sighting in behind}
        if shared and behind[0].along_um - own[-1].along_um <= same_spot_um:
            blurred |= {index, index + 1}
    return [_cluster(own, is_blurred=index in blurred) for index, own in enumerate(gathered)]


def _gather(sightings: Sequence[Sighting], *, same_spot_um: int) -> Iterator[list[Sighting]]:
    own: list[Sighting] = []
    # Measured from a cluster's first sighting, as a chain of near ones could grow without end. A trace shows one joint
    # once, so that its second event nearby is another's.
    for sighting in sorted(sightings):
        is_other = own and sighting.along_um - own[0].along_um > same_spot_um
        if is_other or any(sighting.record == other.record for other in own):
            yield own
            own = []
        own.append(sighting)
    if own:
        yield own


def _cluster(own: Sequence[Sighting], *, is_blurred: bool) -> Cluster:
    return Cluster(
        along_um=median_low(sighting.along_um for sighting in own),
        is_firm=not is_blurred and len({sighting.is_forward for sighting in own}) == 2,
        is_blurred=is_blurred,
    )
