"""Which measurements count, and why the others do not; which traces do, by wavelength and direction."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple, TypeVar

from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import SiteKind
from service.vocabulary.findings.finding import VoidRecord
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import to_um
from worker.judgement.history.acts import History, LinkLoss, Measurement, ReturnLoss, Rework, Trace
from worker.judgement.history.lids import Lid, all_shut_at, judge_lid, sealing_fault
from worker.judgement.history.parts import contradicts_total
from worker.judgement.numbers.clocks import Stamp, last_of_each_clock, latest_is_proven, order_fault

M = TypeVar("M", bound=Measurement)


class Side(NamedTuple):
    """From which end, and at which wavelength, a fibre is seen."""

    wavelength_nm: int
    is_forward: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceSet:
    """The traces of one direction and wavelength: the latest of each pulse, the shortest first, and the void ones.

    `sole` is the one that says all there is to say between the terminals, as on nearly every finished fibre.
    """

    traces: tuple[Trace, ...] = ()
    void: tuple[tuple[Trace, Reason], ...] = ()
    sole: Trace | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Validity:
    """The acts that a measurement of one fibre has to be later than in order to count.

    `reworks`, work `withdrawn` without the engineer's word, `cleanings` by site index and `any_cleaning` hold the last
    act by each clock: a test after that is after all acts by it. `works` are the same reworks one by one, for a test
    that does not run over all sites. `lids` are what is known of lids by site, `closures` the same of the route's
    closures by site index, without those that nobody had to open: no fibre of the route is cut there, and nothing is
    recorded of the lid. `shut_at` is when the last closure was sealed, where all certainly are: a test after that needs
    no look at any single closure.
    `contradicting` are the traces whose own total is not what their parts add up to.
    """

    layout: Layout
    final_after_sealing: bool
    lids: Mapping[str, Lid]
    closures: Mapping[int, Lid | None]
    shut_at: str | None
    reworks: tuple[Stamp, ...]
    withdrawn: tuple[Stamp, ...]
    works: tuple[Sequence[Rework], Sequence[Rework]]
    cleanings: Mapping[int, tuple[Stamp, ...]]
    any_cleaning: tuple[Stamp, ...]
    contradicting: frozenset[str]

    def is_sealed(self, site: str) -> bool:
        """Tell whether the last thing known of a closure is that it was sealed."""
        lid = self.lids.get(site)
        return lid is not None and lid.sealed is not None

    def fault_of(self, test: Measurement) -> Reason | None:
        """Return why a measurement counts nowhere."""
        if test.is_ended:
            return Reason.REPLACED_OR_WITHDRAWN
        if test.calibration_has_run_out:
            return Reason.CALIBRATION_RUN_OUT
        fault = _rework_fault(test, self.reworks, self.withdrawn)
        if fault is not None:
            # A fibre that was cut and spliced again is another one to every test that runs through that splice. One
            # that ends before it, as where the next segment was not joined yet, is of the glass that nobody cut.
            through = (last_of_each_clock(list(_works_through(self.layout, test, own))) for own in self.works)
            fault = _rework_fault(test, *through)
        return Reason.TOTAL_UNLIKE_PARTS if fault is None and test.stamp.id in self.contradicting else fault

    def is_plainly_final(self, test: Measurement) -> bool:
        """Tell whether a measurement is certainly later than each cleaning and, if that is asked for, each sealing."""
        if order_fault(test.stamp, self.any_cleaning, Reason.BEFORE_CLEANING) is not None:
            return False
        if not self.final_after_sealing:
            return True
        # Compared as plain times, so clocks that are known to be wrong have no part in it.
        if self.shut_at is None or test.stamp.clock_is_flagged:
            return False
        return test.stamp.made_at > self.shut_at

    def fault_at(self, test: Measurement, site_index: int) -> Reason | None:
        """Return why a measurement does not count at a place: its closure was not yet shut, its connection cleaned."""
        if self.is_plainly_final(test):
            return None
        # A lid moves the fibres under it, so a closure opened again voids what was measured there before, as far as was
        # agreed that an opening reaches; a connection is only as good as when it was last mated, which is what cleaning
        # it means.
        if site_index in self.closures and self.final_after_sealing:
            # Where a test starts or ends in a closure, its lid is off.
            return None if site_index in test.span else sealing_fault(test.stamp, self.closures[site_index])
        return order_fault(test.stamp, self.cleanings.get(site_index, ()), Reason.BEFORE_CLEANING)

    def fault_over(self, test: Measurement) -> Reason | None:
        """Return why a measurement does not count for all that lies between its ends.

        Cleaning voids the loss and the return loss of a link: each holds its connections in one value. A trace is
        there all the same, and neither dispersion nor continuity depends on a connection being clean.
        """
        if self.is_plainly_final(test):
            return None
        low, high = test.span
        if isinstance(test, LinkLoss | ReturnLoss):
            cleaned = [stamp for index, own in self.cleanings.items() if low <= index <= high for stamp in own]
            fault = order_fault(test.stamp, cleaned, Reason.BEFORE_CLEANING)
            if fault is not None:
                return fault
        if not self.final_after_sealing:
            return None
        return first_fault(sealing_fault(test.stamp, lid) for index, lid in self.closures.items() if low < index < high)


def judge_validity(layout: Layout, history: History, *, fibre: int, criteria: Criteria) -> Validity:
    """Return what a fibre's tests have to be later than, by its history, and which contradict themselves."""
    lids = {site: judge_lid(acts) for site, acts in history.lid_acts.items()}
    left_shut = layout.closures_left_shut
    closures = {index: lids.get(site) for index, site in _closures_of(layout) if site in lids or index not in left_shut}
    cleanings = {
        layout.site_index[site]: last_of_each_clock([act.stamp for act in acts])
        for site, acts in (history.cleanings.items() if criteria.cleaning_voids else ())
    }
    return Validity(
        layout=layout,
        final_after_sealing=criteria.final_after_sealing,
        lids=lids,
        closures=closures,
        shut_at=all_shut_at(closures.values()),
        reworks=last_of_each_clock([work.stamp for work in history.reworks]),
        withdrawn=last_of_each_clock([work.stamp for work in history.withdrawn]),
        works=(history.reworks, history.withdrawn),
        cleanings=cleanings,
        any_cleaning=last_of_each_clock([stamp for own in cleanings.values() for stamp in own]),
        contradicting=frozenset(_contradicting(layout, history, fibre=fibre, criteria=criteria)),
    )


def _works_through(layout: Layout, test: Measurement, works: Iterable[Rework]) -> Iterator[Stamp]:
    """Give the works at sites that a test runs through; in a closure at its end it meets no joint."""
    low, high = ends = test.span
    for work in works:
        site = layout.site_index[work.site]
        if low <= site <= high and not (site in ends and layout.is_closure(work.site)):
            yield work.stamp


def _rework_fault(test: Measurement, reworks: Sequence[Stamp], withdrawn: Sequence[Stamp]) -> Reason | None:
    fault = order_fault(test.stamp, reworks, Reason.BEFORE_REWORK)
    return fault or order_fault(test.stamp, withdrawn, Reason.WITHDRAWN_WORK)


@lru_cache(maxsize=64)
def _closures_of(layout: Layout) -> tuple[tuple[int, str], ...]:
    """Return the site index and id of each closure."""
    sites = enumerate(layout.design.sites)
    return tuple([(index, site.id) for index, site in sites if site.kind is SiteKind.SPLICE_CLOSURE])


def _contradicting(layout: Layout, history: History, *, fibre: int, criteria: Criteria) -> Iterator[str]:
    sites, near_um = (
        sorted({joint.site_index for joint in layout.joints_of(fibre)}),
        to_um(criteria.placing.tolerance_m),
    )
    for trace in history.traces:
        if trace.total_loss is not None:
            joints = bisect_right(sites, trace.high_index) - bisect_left(sites, trace.low_index)
            if contradicts_total(trace, joints=joints, near_um=near_um, consistency=criteria.consistency):
                yield trace.stamp.id


def sort_traces(layout: Layout, history: History, validity: Validity) -> Mapping[Side, TraceSet]:
    """Return the traces of each side that there are any of, by wavelength, A to B first."""
    by_side: dict[Side, list[Trace]] = defaultdict(list)
    for trace in history.traces:
        by_side[Side(trace.wavelength_nm, trace.is_forward)].append(trace)
    in_order = sorted(by_side, key=lambda side: (side.wavelength_nm, not side.is_forward))
    return {side: _sort_side(layout, validity, by_side[side]) for side in in_order}


def split_by_fault(
    measurements: Iterable[M], *faults_of: Callable[[M], Reason | None]
) -> tuple[list[M], list[tuple[M, Reason]]]:
    """Split measurements, asked one thing after the other, into those without a fault and those with their first."""
    good: list[M] = list(measurements)
    void: list[tuple[M, Reason]] = []
    for fault_of in faults_of:
        asked, good = good, []
        for one in asked:
            fault = fault_of(one)
            if fault is None:
                good.append(one)
            else:
                void.append((one, fault))
    return good, void


def first_fault(faults: Iterable[Reason | None]) -> Reason | None:
    """Return the first fault there is."""
    return next((fault for fault in faults if fault is not None), None)


def reason_of(void: Sequence[tuple[Measurement, Reason]]) -> Reason:
    """Return why nothing counts: what the latest says that was not replaced or withdrawn."""
    # A replaced test says nothing of what has to be done: its replacement does, or there is none.
    told = [item for item in void if item[1] is not Reason.REPLACED_OR_WITHDRAWN]
    return max(told, key=_stamp_of)[1] if told else Reason.NO_EVIDENCE


def void_records(void: Sequence[tuple[Measurement, Reason]]) -> tuple[VoidRecord, ...]:
    """Return what was set aside and why, in order of time."""
    return tuple(VoidRecord(measurement.stamp.id, reason) for measurement, reason in sorted(void, key=_stamp_of))


def _stamp_of(void: tuple[Measurement, Reason]) -> Stamp:
    return void[0].stamp


def _sort_side(layout: Layout, validity: Validity, own: Sequence[Trace]) -> TraceSet:
    valid, void = split_by_fault(own, validity.fault_of)
    # Traces of the same pulse between the same ends replace each other.
    repeated: dict[tuple[int, tuple[int, int]], list[Trace]] = defaultdict(list)
    for trace in valid:
        repeated[trace.pulse_ns, trace.ends].append(trace)
    latest: list[Trace] = []
    for group in repeated.values():
        if latest_is_proven([trace.stamp for trace in group]):
            latest.append(group[-1])
        else:
            # Which of them was made last nobody knows, so none is used: a crew could else choose the better one.
            void.append((group[-1], Reason.ORDER_NOT_PROVEN))
    # A shorter pulse tells joints apart that a longer one takes together, so it is asked first; of two the later.
    latest.sort(key=lambda trace: trace.stamp, reverse=True)
    latest.sort(key=lambda trace: trace.pulse_ns)
    is_alone = len(latest) == 1 and not void and latest[0].span == (0, len(layout.design.sites) - 1)
    sole = latest[0] if is_alone and validity.is_plainly_final(latest[0]) else None
    return TraceSet(traces=tuple(latest), void=tuple(void), sole=sole)
