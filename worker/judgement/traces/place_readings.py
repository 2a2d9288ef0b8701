"""What one trace shows of each place, its events assigned: one by one, or as columns where nothing is in doubt."""

from collections.abc import Iterator, Mapping, Sequence, Set

from service.vocabulary.findings.words import Reason
from worker.judgement.history.events import TraceEvent
from worker.judgement.traces.aligned_trace import PlainReadings, Reading
from worker.judgement.traces.doubts.lost_losses import LaidTrace
from worker.judgement.traces.noise import TraceNoise
from worker.judgement.traces.places import Place, surely_merged_um


class ReadAlone(Mapping[int, Reading | Reason]):
    """What a trace shows by site index that proves its length and leaves nothing in doubt, each made when asked for."""

    __slots__ = ("_laid", "_made")

    def __init__(self, laid: LaidTrace) -> None:
        self._laid = laid
        self._made: dict[int, Reading | Reason] = {}

    def __getitem__(self, site: int) -> Reading | Reason:
        """Return what it shows of a site."""
        made = self._made.get(site)
        if made is None:
            # An end is asked for by its losses, its cords and what lies before it.
            made = self._made[site] = self._read(site)
        return made

    def _read(self, site: int) -> Reading | Reason:
        laid = self._laid
        index = laid.between.target_of_site[site]
        place = laid.between.places[laid.between.members[index][0]]
        return _reading(laid, index, joint_um=None) if place.zone else _read_by_itself(laid, index, place)

    def __iter__(self) -> Iterator[int]:
        """Give the sites."""
        return iter(self._laid.between.target_of_site)

    def __len__(self) -> int:
        """Return how many sites there are."""
        return len(self._laid.between.target_of_site)


def read_in_columns(laid: LaidTrace) -> PlainReadings:
    """Return what such a trace shows of places by themselves, from A on."""
    between, events, own = laid.between, laid.events, laid.found.events_of_target
    losses_mdb, at_m = events.losses_mdb, events.at_m
    picked: Sequence[int | None] = between.alone
    if None in losses_mdb or len(events) != len(own) or not all(own):
        # Not each target has the event of its number.
        seen = [None if index is None or len(own[index]) != 1 else own[index][0] for index in between.alone]
        picked = [None if event is None or losses_mdb[event] is None else event for event in seen]
    step = 1 if laid.trace.is_forward else -1
    noises_mdb: Sequence[int | None] = (None,) * len(picked)
    if laid.noise.is_known:
        of_events = laid.noise.at_events_mdb(events.at_um)
        noises_mdb = [None if event is None else of_events[event] for event in picked][::step]
    return PlainReadings(
        sites=between.sites,
        losses_mdb=[None if event is None else losses_mdb[event] for event in picked][::step],
        noises_mdb=noises_mdb,
        at_m=[None if event is None else at_m[event] for event in picked][::step],
        mdb_per_km=[None if event is None else events.mdb_per_km[event] for event in picked][::step],
    )


def read_places(laid: LaidTrace, in_doubt: Set[int], *, is_misfit: bool) -> dict[int, Reading | Reason]:
    """Return what the trace shows of each place, by site index."""
    events, events_of = laid.events, laid.found.events_of_target
    # The farthest joint that the trace shows.
    joint_um = max([events[own[-1]].at_um for own in events_of if own], default=None)
    shown: dict[int, Reading | Reason] = {}
    places, is_plain = laid.between.places, laid.scale.shortfall is None and not is_misfit
    for index, members in enumerate(laid.between.members):
        place = places[members[0]]
        if is_plain and not place.zone and index not in in_doubt:
            shown[place.site_index] = _read_by_itself(laid, index, place)
            continue
        # What contradicts itself comes first: an event that may be another joint's proves neither of them.
        is_doubtful = index in in_doubt or (is_misfit and not laid.found.events_of_target[index])
        own = Reason.AMBIGUOUS_EVENT if is_doubtful else _reading(laid, index, joint_um=joint_um)
        for member in members:
            shown[places[member].site_index] = own
    return shown


def share_events(
    laid: LaidTrace, shown: Mapping[int, Reading | Reason], shared: Mapping[int, Sequence[int]]
) -> dict[int, Reading | Reason]:
    """Return readings that know with which others they may be of one event: what is not seen has no more than that."""
    owner_of = {event: index for index, own in enumerate(laid.found.events_of_target) for event in own}
    widened = dict(shown)
    for index, events in shared.items():
        together = {owner_of[event] for event in events}
        together |= {other for other, own in shared.items() if not set(own).isdisjoint(events)}
        for one in together:
            beside = frozenset([min(laid.sites_of(other)) for other in together if other != one])
            for site in laid.sites_of(one):
                if isinstance(own := widened[site], Reading):
                    widened[site] = own._replace(beside=own.beside | beside, low_mdb=min(own.low_mdb, 0))
        losses_mdb = [laid.events[event].loss_mdb for event in events]
        for site in laid.sites_of(index):
            if isinstance(own := widened[site], Reading):
                within_mdb = own.high_mdb + abs(sum(loss or 0 for loss in losses_mdb))
                wider = own._replace(low_mdb=-within_mdb, high_mdb=within_mdb)
                widened[site] = Reason.AMBIGUOUS_EVENT if None in losses_mdb else wider
    return widened


def _read_by_itself(laid: LaidTrace, index: int, place: Place) -> Reading | Reason:
    """Return what a trace that shows its whole length shows of a place in no dead zone."""
    own = laid.found.events_of_target[index]
    if len(own) == 1:
        # As nearly all are, with an event that states its loss.
        event = laid.events[own[0]]
        if event.loss_mdb is not None:
            return Reading(laid.trace, event.loss_mdb, event.loss_mdb, (event,), laid.noise.at_mdb(event.at_um))
    if own:
        return _read(laid.noise, [laid.events[event] for event in own])
    return Reason.PAIR_NOT_SEEN if place.pair is not None else _unseen(laid.noise, laid.targets[index].high_um)


def _reading(laid: LaidTrace, index: int, *, joint_um: int | None) -> Reading | Reason:
    scale, target = laid.scale, laid.targets[index]
    places = [laid.between.places[member] for member in laid.between.members[index]]
    seen = [laid.events[event] for event in laid.found.events_of_target[index]]
    if places[0].zone and not _is_whole(laid, places):
        return Reason.GROUP_ONLY
    if seen and (scale.shortfall is None or not scale.ends_at(seen[0].at_um)):
        return _together(laid, places, _read(laid.noise, seen))
    if seen or not scale.reaches(target.high_um, joint_um=joint_um):
        return scale.shortfall or Reason.BEYOND_REACH
    # Two polished ends always show themselves; where they do not, they are somewhere else.
    has_pair = places[0].zone_has_pair if places[0].zone else places[0].pair is not None
    return Reason.PAIR_NOT_SEEN if has_pair else _unseen(laid.noise, target.high_um)


def _is_whole(laid: LaidTrace, places: Sequence[Place]) -> bool:
    """Tell whether the trace runs over all that one dead zone covers."""
    sites = {place.site_index for place in places}
    is_cut = any(place.site_index in laid.trace.ends and not place.is_end for place in places)
    return sites == set(places[0].zone) and not is_cut


def _together(laid: LaidTrace, places: Sequence[Place], reading: Reading | Reason) -> Reading | Reason:
    if not places[0].zone or places[0].zone_has_pair or isinstance(reading, Reason):
        return reading
    # No criterion is about splices together: of each alone no more is known than that it has no more than all.
    # Where the trace may part them, those that it does not show come on top, each within what it shows of nothing.
    apart_um = abs(places[-1].from_a_um - places[0].from_a_um)
    is_merged = apart_um <= surely_merged_um(laid.trace.pulse_ns)
    unseen = 0 if is_merged else max(len(places) - len(reading.events), 0)
    hidden_mdb = laid.noise.unseen_mdb(reading.events[0].at_um) if unseen else 0
    if hidden_mdb is None:
        return Reason.NOISE_NOT_KNOWN
    return reading._replace(low_mdb=min(reading.low_mdb, 0), high_mdb=reading.high_mdb + unseen * hidden_mdb)


def _unseen(noise: TraceNoise, at_um: int) -> Reading | Reason:
    within_mdb = noise.unseen_mdb(at_um)
    if within_mdb is None:
        return Reason.NOISE_NOT_KNOWN
    return Reading(noise.trace, -within_mdb, within_mdb, noise_mdb=noise.at_mdb(at_um))


def _read(noise: TraceNoise, events: Sequence[TraceEvent]) -> Reading | Reason:
    total_mdb = 0
    for event in events:
        if event.loss_mdb is not None:
            total_mdb += event.loss_mdb
        elif not noise.trace.is_merged(event, events[0]):
            return Reason.LOSS_NOT_STATED
    return Reading(noise.trace, total_mdb, total_mdb, tuple(events), noise.at_mdb(events[0].at_um))
