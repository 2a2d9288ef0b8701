"""All traces of one fibre laid over its places together, each worked out once."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from statistics import median_low

from service.vocabulary.criteria.criteria import Placing
from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import UM_PER_CM, to_last_place
from service.vocabulary.words import Reason
from worker.judgement.history.acts import Trace
from worker.judgement.numbers.exact import metres_to_um
from worker.judgement.traces.aligned_trace import PlacedTrace, Reading, place_trace
from worker.judgement.traces.breaks import Breaks, ShortTrace, find_breaks, is_short
from worker.judgement.traces.crossed import Unlike, find_unlike
from worker.judgement.traces.distance_scale import Ruler, best_fit, measure
from worker.judgement.traces.echoes import Echo, find_echoes, has_candidates, reflects, take_off
from worker.judgement.traces.joint_location import Agreement, Margins, Sighting, Spot, agree
from worker.judgement.traces.places import DeadZone, Place, zones_of

# Light goes there and back: a pulse of 1 ns covers 0.102 m of fibre at a group index of 1.468.
_UM_PER_NS_OF_PULSE = 102_000
_Ends = tuple[int, int]
_NONE = Agreement({}, frozenset(), {})


def dead_zone_of(pulse_ns: int, placing: Placing) -> DeadZone:
    """Return how far apart a pulse sees joints apart."""
    pulse_um = pulse_ns * _UM_PER_NS_OF_PULSE
    return DeadZone(pulse_um * to_last_place(placing.dead_zone_pulses, places=1) // 10, pulse_um)


class Laying:
    """The traces of one fibre over its places; `counting` gives those that count somewhere."""

    def __init__(
        self,
        layout: Layout,
        *,
        placing: Placing,
        places: Sequence[Place],
        pulse_ns: int,
        counting: Callable[[], Sequence[Trace]],
    ) -> None:
        self._layout = layout
        self._placing = placing
        self._places = places
        self._pulse_ns = pulse_ns
        self._counting = counting
        self._near_um = to_last_place(placing.tolerance_m, places=2) * UM_PER_CM
        self._on_the_way: dict[_Ends, Sequence[Place]] = {}
        self._along: dict[_Ends, Sequence[int]] = {}
        self._measured: dict[str, Ruler] = {}
        self._rulers: dict[str, Ruler] = {}
        self._echoes: dict[str, tuple[Echo, ...]] = {}
        self._alone: dict[str, PlacedTrace] = {}
        self._placed: dict[str, PlacedTrace] = {}
        self._unlike: dict[str, Unlike | None] = {}
        self._agreed: dict[_Ends, Agreement] = {}
        self._clean: dict[_Ends, bool] = {}

    def ruler(self, trace: Trace) -> Ruler:
        """Return where the design's fibre lies on a trace, its echoes taken off."""
        ruler = self._rulers.get(trace.stamp.id)
        if ruler is None:
            ruler = self._scaled(trace)
            if ruler.wants_confirming and any(ruler.is_confirmed_by(self._measure(one)) for one in self._back(trace)):
                ruler = ruler.confirmed()
            echoes = self._find_echoes(trace, ruler)
            ruler = self._rulers[trace.stamp.id] = take_off(ruler, echoes) if echoes else ruler
            self._echoes[trace.stamp.id] = echoes
        return ruler

    def echoes(self, trace: Trace) -> tuple[Echo, ...]:
        """Return the echoes on a trace."""
        self.ruler(trace)
        return self._echoes[trace.stamp.id]

    def placed(self, trace: Trace) -> PlacedTrace:
        """Return what a trace shows at each place; where it or another is not clear alone, by what all show there."""
        placed = self._placed.get(trace.stamp.id)
        if placed is None:
            placed = self._place_alone(trace)
            if not self._are_clean(_ends(trace)):
                placed = self._place_together(trace, placed)
            self._placed[trace.stamp.id] = placed
        return placed

    def unlike(self, trace: Trace) -> Unlike | None:
        """Return why a trace is likelier to be of the route from its other end, or of another fibre."""
        if self._place_alone(trace).is_clean:
            return None
        if trace.stamp.id not in self._unlike:
            own_sites = [place.site_index for place in self._places]
            self._unlike[trace.stamp.id] = find_unlike(self._layout, trace, self.ruler(trace), own_sites=own_sites)
        return self._unlike[trace.stamp.id]

    def agreed_spots(self) -> Mapping[int, Spot]:
        """Return the spots, by site index, of joints that are certain to lie beyond tolerance from their design."""
        moved: dict[int, Spot] = {}
        for ends in sorted({_ends(trace) for trace in self._counting() if not self._place_alone(trace).is_clean}):
            tolerance_um = max(self.ruler(trace).tolerance_um for trace in self._counting() if _ends(trace) == ends)
            for site_index, spot in self._agree(ends).spots.items():
                if abs(spot.from_a_um - self._layout.site_offsets_um[site_index]) > tolerance_um:
                    moved.setdefault(site_index, spot)
        return moved

    def breaks(self) -> Breaks:
        """Return where the fibre is broken, and which traces stop short alone."""
        short = [
            ShortTrace(
                trace,
                ruler,
                self.from_a_um(trace, ruler.reach_um),
                ruler.doubt_um(ruler.reach_um, joint_um=self._farthest_joint_um(trace)),
            )
            for trace in self._counting()
            if is_short(ruler := self.ruler(trace)) and self.unlike(trace) is None
        ]
        return find_breaks(short, offsets_um=self._layout.site_offsets_um) if short else Breaks((), ())

    def from_a_um(self, trace: Trace, at_um: int) -> int:
        """Return where in the design a spot of a trace lies."""
        near_um, along_um = self._layout.site_offsets_um[trace.ends[0]], self.ruler(trace).along_um(at_um)
        return near_um + along_um if trace.is_forward else near_um - along_um

    def _place_alone(self, trace: Trace) -> PlacedTrace:
        placed = self._alone.get(trace.stamp.id)
        if placed is None:
            placed = self._alone[trace.stamp.id] = self._place(trace, {})
        return placed

    def _are_clean(self, ends: _Ends) -> bool:
        """Tell whether each trace between two ends is clear alone; one that is may take another's stray for a joint."""
        are_clean = self._clean.get(ends)
        if are_clean is None:
            own = (trace for trace in self._counting() if _ends(trace) == ends)
            are_clean = self._clean[ends] = all(self._place_alone(trace).is_clean for trace in own)
        return are_clean

    def _place_together(self, trace: Trace, alone: PlacedTrace) -> PlacedTrace:
        unlike = self.unlike(trace)
        if unlike is not None:
            return alone.proving_nothing(unlike.reason)
        agreed = self._agree(_ends(trace))
        placed = self._place(trace, agreed.spots) if agreed.spots else alone
        doubted = agreed.doubted_by(trace.stamp.id, placed.sites_seen())
        return placed.doubting(doubted) if doubted else placed

    def _place(self, trace: Trace, agreed: Mapping[int, Spot]) -> PlacedTrace:
        places, near_um = self._places_of(trace), self._layout.site_offsets_um[trace.ends[0]]
        along_um = self._along.get(trace.ends)
        if along_um is None:
            along_um = self._along[trace.ends] = [abs(place.from_a_um - near_um) for place in places]
        if agreed:
            along_um = [
                abs(agreed[place.site_index].from_a_um - near_um) if place.site_index in agreed else along
                for place, along in zip(places, along_um, strict=True)
            ]
        placed = place_trace(trace, places=places, along_um=along_um, ruler=self.ruler(trace))
        if trace.pulse_ns <= self._pulse_ns:
            return placed
        own = zones_of(self._places, dead_zone_of(trace.pulse_ns, self._placing))
        known = {place.zone for place in self._places}
        return placed.blurred(zone for zone in own if zone not in known)

    def _agree(self, ends: _Ends) -> Agreement:
        """Return on which spots of places, by site index, the full traces between two ends agree."""
        if ends not in self._agreed:
            full = [
                trace
                for trace in self._counting()
                if _ends(trace) == ends and self.ruler(trace).shortfall is None and self.unlike(trace) is None
            ]
            self._agreed[ends] = self._agreement_of(full) if full else _NONE
        return self._agreed[ends]

    def _agreement_of(self, full: Sequence[Trace]) -> Agreement:
        low, high = _ends(full[0])
        places = [place for place in self._places if low <= place.site_index <= high]
        sightings = [
            Sighting(self.from_a_um(trace, at_um), trace.stamp.id, trace.is_forward)
            for trace in full
            for at_um, _ in self.ruler(trace).events
        ]
        first_um, last_um = (self._layout.site_offsets_um[end] for end in (low, high))
        tolerance_um = self.ruler(full[0]).tolerance_um
        agreed = agree(
            [one for one in sightings if first_um - tolerance_um <= one.from_a_um <= last_um + tolerance_um],
            [place.from_a_um for place in places],
            is_group=[place.is_group for place in places],
            movable=[low < place.site_index < high and not place.zone for place in places],
            margins=Margins(
                tolerance_um=tolerance_um,
                # Instruments at both ends place one joint within a few metres of each other, common practice.
                same_spot_um=self._near_um // 2,
                off_spot_um=to_last_place(self._placing.off_spot_m, places=2) * UM_PER_CM,
            ),
        )
        return Agreement(
            spots={places[index].site_index: spot for index, spot in agreed.spots.items()},
            doubted=frozenset(places[index].site_index for index in agreed.doubted),
            rivalled={places[index].site_index: records for index, records in agreed.rivalled.items()},
        )

    def _farthest_joint_um(self, trace: Trace) -> int | None:
        readings = self.placed(trace).readings.items()
        inside = (one for site, one in readings if trace.low_index < site < trace.high_index)
        shown = (one.distance_m for one in inside if isinstance(one, Reading) and one.distance_m is not None)
        return max(map(metres_to_um, shown), default=None)

    def _find_echoes(self, trace: Trace, ruler: Ruler) -> tuple[Echo, ...]:
        if not has_candidates(trace, ruler):
            return ()
        near_um = self._layout.site_offsets_um[trace.ends[0]]
        pairs = (place for place in self._places_of(trace) if place.pair is not None)
        pairs_um = [ruler.on_trace_um(abs(place.from_a_um - near_um)) for place in pairs]
        echoes = find_echoes(trace, ruler, pairs_um=pairs_um, near_um=self._near_um)
        return tuple(echo for echo in echoes if not self._is_seen_back(trace, ruler, echo))

    def _is_seen_back(self, trace: Trace, ruler: Ruler, echo: Echo) -> bool:
        """Tell whether a trace from the other end has a reflection where an echo is: then it is none."""
        along_um = ruler.along_um(echo.spot.at_um)
        for other in self._back(trace):
            back = self._scaled(other)
            at_um = back.on_trace_um(ruler.span_um - along_um)
            if any(reflects(spot.body) for spot in back.events_near(at_um)):
                return True
        return False

    def _scaled(self, trace: Trace) -> Ruler:
        """Return a trace's ruler, by the scale of full traces where it has none of its own."""
        ruler = self._measure(trace)
        if ruler.length_um is not None or ruler.shortfall is Reason.LENGTH_UNLIKE:
            return ruler
        full = [
            (other, measured.laid_um)
            for other in self._counting()
            if _ends(other) == _ends(trace) and (measured := self._measure(other)).length_um == measured.laid_um
        ]
        own = [laid_um for other, laid_um in full if other.wavelength_nm == trace.wavelength_nm]
        laid_um = own or [laid_um for _, laid_um in full]
        if not laid_um:
            return ruler
        # Full traces know the scale better than the few events of a short one, unless these contradict it.
        as_full = replace(ruler, laid_um=median_low(laid_um), scale_percent=0)
        return best_fit(as_full, [ruler.laid_um], list(self._joints_um(trace)))

    def _measure(self, trace: Trace) -> Ruler:
        ruler = self._measured.get(trace.stamp.id)
        if ruler is None:
            near_um, far_um = (self._layout.site_offsets_um[index] for index in trace.ends)
            span_um = abs(far_um - near_um)
            ruler = measure(trace, span_um=span_um, joints_um=self._joints_um(trace), placing=self._placing)
            self._measured[trace.stamp.id] = ruler
        return ruler

    def _joints_um(self, trace: Trace) -> Iterator[int]:
        near_um = self._layout.site_offsets_um[trace.ends[0]]
        for place in self._places_of(trace):
            if trace.low_index < place.site_index < trace.high_index:
                yield abs(place.from_a_um - near_um)

    def _places_of(self, trace: Trace) -> Sequence[Place]:
        places = self._on_the_way.get(trace.ends)
        if places is None:
            own = [place for place in self._places if trace.low_index <= place.site_index <= trace.high_index]
            places = self._on_the_way[trace.ends] = own if trace.is_forward else own[::-1]
        return places

    def _back(self, trace: Trace) -> list[Trace]:
        """Return the traces of the same span from its other end, at any wavelength."""
        return [
            other
            for other in self._counting()
            if other.is_forward is not trace.is_forward and _ends(other) == _ends(trace)
        ]


def _ends(trace: Trace) -> _Ends:
    return trace.low_index, trace.high_index
