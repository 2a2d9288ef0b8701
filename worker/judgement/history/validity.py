"""Which measurements count, and why the others do not."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import VoidRecord
from service.vocabulary.words import Reason, SiteKind
from worker.judgement.history.acts import ClosureAct, History, LinkLoss, Measurement, ReturnLoss
from worker.judgement.numbers.clocks import Order, Stamp, last_of_each_clock, latest_is_proven, order_to

M = TypeVar("M", bound=Measurement)


class Sealing(NamedTuple):
    """Whether a closure is shut, by the last act on its lid."""

    latest: ClosureAct
    is_certain: bool

    @property
    def is_sealed(self) -> bool:
        """Tell whether the last act was to seal it."""
        return self.latest.is_sealed


@dataclass(frozen=True, kw_only=True, slots=True)
class Validity:
    """What makes a measurement of one fibre count: the acts that it has to be later than.

    Of each clock only the last act matters, for what is after that is after all. `closures` are the indices of the
    closures on the route with what is known of their lids, `shut_at` when the last of them was shut, if all are for
    certain: on a finished route every test is later, and nothing else has to be asked of it.
    """

    final_after_sealing: bool
    sealings: Mapping[str, Sealing]
    closures: Mapping[int, Sealing | None]
    shut_at: str | None
    reworks: tuple[Stamp, ...]
    cleanings: Mapping[int, tuple[Stamp, ...]]
    any_cleaning: tuple[Stamp, ...]

    def is_sealed(self, site: str) -> bool:
        """Tell whether the last thing known of a closure is that it was sealed."""
        sealing = self.sealings.get(site)
        return sealing is not None and sealing.is_sealed

    def fault_of(self, test: Measurement) -> Reason | None:
        """Return why a measurement counts nowhere."""
        if test.is_ended:
            return Reason.REPLACED_OR_WITHDRAWN
        if test.calibration_has_run_out:
            return Reason.CALIBRATION_RUN_OUT
        # A fibre that was cut and spliced again is another one to every test of it, wherever that splice is.
        return _fault_in_order(test.stamp, self.reworks, Reason.BEFORE_REWORK)

    def is_plainly_final(self, test: Measurement) -> bool:
        """Tell whether a measurement is beyond doubt later than all there is to be later than."""
        if self.any_cleaning and order_to(test.stamp, self.any_cleaning) is not Order.AFTER:
            return False
        if not self.final_after_sealing:
            return True
        if self.shut_at is None or test.stamp.clock_is_flagged:
            return False
        return test.stamp.made_at > self.shut_at

    def fault_at(self, test: Measurement, site_index: int) -> Reason | None:
        """Return why a measurement does not count at a place: its closure was not yet shut, its connection cleaned."""
        if self.is_plainly_final(test):
            return None
        if site_index in self.closures and self.final_after_sealing:
            return _sealing_fault(test.stamp, self.closures[site_index])
        return _fault_in_order(test.stamp, self.cleanings.get(site_index, ()), Reason.BEFORE_CLEANING)

    def fault_over(self, test: Measurement) -> Reason | None:
        """Return why a measurement does not count for all that lies between its ends.

        Cleaning voids the loss and the return loss of a link: each holds its connections in one value. A trace is
        there all the same, and neither dispersion nor continuity depends on a connection being clean.
        """
        if self.is_plainly_final(test):
            return None
        fault = self._cleaning_fault(test) if isinstance(test, LinkLoss | ReturnLoss) else None
        if fault is not None:
            return fault
        faults = (
            _sealing_fault(test.stamp, sealing)
            for index, sealing in self.closures.items()
            if self.final_after_sealing and test.low_index <= index <= test.high_index
        )
        return next((fault for fault in faults if fault is not None), None)

    def _cleaning_fault(self, test: Measurement) -> Reason | None:
        between = [
            stamp
            for index, own in self.cleanings.items()
            if test.low_index <= index <= test.high_index
            for stamp in own
        ]
        return _fault_in_order(test.stamp, between, Reason.BEFORE_CLEANING)


def judge_validity(layout: Layout, history: History, *, final_after_sealing: bool) -> Validity:
    """Return what a fibre's tests have to be later than, by its history."""
    sealings = {site: _sealing(acts) for site, acts in history.closure_acts.items()}
    closures = {
        index: sealings.get(site.id)
        for index, site in enumerate(layout.design.sites)
        if site.kind is SiteKind.SPLICE_CLOSURE
    }
    cleanings = {
        layout.site_index[site]: last_of_each_clock([act.stamp for act in acts])
        for site, acts in history.cleanings.items()
    }
    return Validity(
        final_after_sealing=final_after_sealing,
        sealings=sealings,
        closures=closures,
        shut_at=_all_shut_at(closures.values()),
        reworks=last_of_each_clock(history.reworks),
        cleanings=cleanings,
        any_cleaning=last_of_each_clock([stamp for own in cleanings.values() for stamp in own]),
    )


def split_by_fault(
    measurements: Sequence[M], fault_of: Callable[[M], Reason | None]
) -> tuple[list[M], list[tuple[M, Reason]]]:
    """Split measurements, in their order, into those without a fault and those with theirs."""
    good: list[M] = []
    void: list[tuple[M, Reason]] = []
    for measurement in measurements:
        fault = fault_of(measurement)
        if fault is None:
            good.append(measurement)
        else:
            void.append((measurement, fault))
    return good, void


def reason_of(void: Sequence[tuple[Measurement, Reason]]) -> Reason:
    """Return why nothing counts: what the latest says that was not replaced or withdrawn."""
    told = [item for item in void if item[1] is not Reason.REPLACED_OR_WITHDRAWN]
    return max(told, key=lambda item: item[0].stamp.key)[1] if told else Reason.NO_EVIDENCE


def void_records(void: Sequence[tuple[Measurement, Reason]]) -> tuple[VoidRecord, ...]:
    """Return what was set aside and why, in order of time."""
    in_order = sorted(void, key=lambda item: item[0].stamp.key)
    return tuple(VoidRecord(measurement.stamp.id, reason) for measurement, reason in in_order)


def _all_shut_at(sealings: Iterable[Sealing | None]) -> str | None:
    """Return when the last closure was shut, if all are for certain: on a finished route all tests are later."""
    shut_at = ""
    for sealing in sealings:
        if sealing is None or not (sealing.is_certain and sealing.is_sealed) or sealing.latest.stamp.clock_is_flagged:
            return None
        shut_at = max(shut_at, sealing.latest.stamp.made_at)
    return shut_at


def _sealing(acts: Sequence[ClosureAct]) -> Sealing:
    return Sealing(acts[-1], len(acts) == 1 or latest_is_proven([act.stamp for act in acts]))


def _sealing_fault(test: Stamp, sealing: Sealing | None) -> Reason | None:
    if sealing is None:
        return Reason.SEALING_NOT_RECORDED
    if not sealing.is_certain:
        return Reason.ORDER_NOT_PROVEN
    if not sealing.is_sealed:
        return Reason.CLOSURE_OPEN
    return _fault_in_order(test, (sealing.latest.stamp,), Reason.BEFORE_SEALING)


def _fault_in_order(test: Stamp, last_acts: Sequence[Stamp], reason: Reason) -> Reason | None:
    match order_to(test, last_acts):
        case Order.AFTER:
            return None
        case Order.NOT_AFTER:
            return reason
        case Order.NOT_PROVEN:
            return Reason.ORDER_NOT_PROVEN
