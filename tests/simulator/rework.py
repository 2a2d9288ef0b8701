"""A crew that does what a work list tells it, and nothing else: it mends what an act mends, posts it, and tests anew.

It knows the list by its posted form and the route's truth; what was not asked for stays as it is.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import chain
from typing import Any

import numpy as np

from tests.bodies import Body
from tests.bodies.records import make_cleaning
from tests.simulator.crew import closure_record, splice_record
from tests.simulator.draws import Floats
from tests.simulator.faults import Fault, FaultKind, build
from tests.simulator.splicing import SplicerScreen, single_splicer
from tests.simulator.trial import SEALED_AT, Trial

# What mends a fault: acts at its site where it has one.
_MENDED_AT_SITE = {
    FaultKind.BAD_SPLICE: {"re_splice"},
    FaultKind.BEND_IN_CLOSURE: {"relieve_bend", "re_splice"},
    FaultKind.DIRTY_CONNECTOR: {"clean_and_inspect"},
    FaultKind.DELETED_EVENT: {"re_splice"},
    FaultKind.INVERTED_SIGN: {"re_splice"},
}
_MENDED = {
    FaultKind.BEND_IN_CABLE: {"relieve_bend"},
    FaultKind.EXPRESS_CUT: {"relieve_bend"},
    FaultKind.CROSSED_FIBRES: {"fibres_crossed"},
    FaultKind.BREAK: {"locate_break"},
    FaultKind.ECHO: {"clean_and_inspect"},
}
# What was done to papers ends with tests by honest people; a bad splice that they hid stays.
_HIDE_A_SPLICE = {FaultKind.DELETED_EVENT, FaultKind.INVERTED_SIGN}
_LONGER_CORD_M = 200.0
_EACH_VISIT = timedelta(days=40)
_TIMES = ("made_at", "referenced_at")


def _with_half_the_pulse(trial: Trial) -> Trial:
    pulses_ns = tuple(pulse_ns // 2 for pulse_ns in trial.course.pulses_ns)
    return replace(trial, course=replace(trial.course, pulses_ns=pulses_ns))


def _with_other_cords(trial: Trial) -> Trial:
    """Put longer cords at both ends, as long as no joint is from there: a cord's echo shows at its own length."""
    gear, offsets_m = trial.course.gear, trial.course.designed_offsets_m
    at_a, at_b = (
        replace(cord, serial=f"{cord.serial}-L", length_m=_unlike(cord.length_m, joints_m))
        for cord, joints_m in ((gear.cord_at_a, offsets_m), (gear.cord_at_b, offsets_m[-1] - offsets_m))
    )
    return replace(trial, course=replace(trial.course, gear=replace(gear, cord_at_a=at_a, cord_at_b=at_b)))


def _unlike(length_m: float, joints_m: Floats) -> float:
    longer_m = (length_m + _LONGER_CORD_M * number for number in range(1, 20))
    return next(own for own in longer_m if np.abs(joints_m - own).min() > _LONGER_CORD_M / 2)


def _with_lower_threshold(trial: Trial) -> Trial:
    """Set both instruments to a quarter of the threshold and so much averaging that their noise is a quarter too."""
    gear = trial.course.gear
    at_a, at_b = (
        replace(
            otdr,
            loss_threshold_db=otdr.loss_threshold_db / 4,
            averaging_s=otdr.averaging_s * 16,
            reading_noise_db=otdr.reading_noise_db / 4,
        )
        for otdr in (gear.otdr_at_a, gear.otdr_at_b)
    )
    return replace(trial, course=replace(trial.course, gear=replace(gear, otdr_at_a=at_a, otdr_at_b=at_b)))


# What a clause says about how to test, and the crew with it.
_SET_OTHERWISE = {
    "test again with a shorter pulse": _with_half_the_pulse,
    "with cords of another length": _with_other_cords,
    "with a lower loss threshold or longer averaging": _with_lower_threshold,
}


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One round of work after the first tests: what each fibre's list asked for, by fibre number."""

    trial: Trial
    number: int
    asked: Mapping[int, Sequence[Any]]

    def mended(self) -> Trial:
        """Return the route after it: with the faults that nobody was told to mend."""
        left = tuple(self._shown(fault) for fault in self.trial.faults if not self._mends(fault))
        truth = build(self.trial.course.truth, left)
        return replace(self.trial, faults=left, truth=truth, seed=self.trial.seed + 100_000 * self.number)

    def records(self) -> Iterator[Body]:
        """Give the records of the visit: work and lids first, then the tests that were asked for and no others."""
        after = self.mended()
        for fibre, items in self.asked.items():
            for item in items:
                for site in item["sites"]:
                    yield from self._work(fibre, item, site)
        items = [item for items in self.asked.values() for item in items]
        for site in sorted({site for item in items if item["act"] == "seal" for site in item["sites"]}):
            yield self._sealed(site)
        for record in chain(self._traces(after), after.power_records(), after.continuity_records()):
            if self._is_asked_for(record):
                yield self._later(record)

    def _traces(self, after: Trial) -> Iterator[Body]:
        """Give the traces of all fibres, each with the settings that its list asks for."""
        alike: dict[frozenset[str], set[int]] = defaultdict(set)
        for fibre, items in self.asked.items():
            clauses = [cause["clause"] for item in items if "tests" in item for cause in item["causes"]]
            if clauses:
                alike[frozenset(said for said in _SET_OTHERWISE if any(said in one for one in clauses))].add(fibre)
        for told, fibres in alike.items():
            trial = after
            for said in sorted(told):
                trial = _SET_OTHERWISE[said](trial)
            yield from (trace for trace, shown in trial.traces() if shown.fibre in fibres)

    def _is_asked_for(self, test: Body) -> bool:
        return any(
            asked["test"] == test["kind"]
            and test["from_site"] in asked["from_sites"]
            and (not asked["wavelengths_nm"] or test["wavelength_nm"] in asked["wavelengths_nm"])
            for item in self.asked[test["fibre"]]
            for asked in item.get("tests", ())
        )

    def _mends(self, fault: Fault) -> bool:
        items = self._items_about(fault)
        if fault.kind in _MENDED_AT_SITE:
            assert fault.site is not None
            site = self.trial.course.sites[fault.site]
            return any(item["act"] in _MENDED_AT_SITE[fault.kind] and site in item["sites"] for item in items)
        if fault.kind in _MENDED:
            return any(item["act"] in _MENDED[fault.kind] for item in items)
        return self._is_tested_anew(fault)

    def _shown(self, fault: Fault) -> Fault:
        """Return what is left of a fault that nobody mended: what papers hid is in the open once it is tested anew."""
        is_shown = fault.kind in _HIDE_A_SPLICE and self._is_tested_anew(fault)
        return replace(fault, kind=FaultKind.BAD_SPLICE) if is_shown else fault

    def _is_tested_anew(self, fault: Fault) -> bool:
        named = "attenuation" if fault.kind is FaultKind.POWER_REPEATED else "otdr"
        return any(test["test"] == named for item in self._items_about(fault) for test in item.get("tests", ()))

    def _items_about(self, fault: Fault) -> list[Any]:
        fibres = (fault.fibre, fault.other)
        return [item for fibre in fibres if fibre is not None for item in self.asked.get(fibre, ())]

    def _work(self, fibre: int, item: Any, site: str) -> Iterator[Body]:
        if item["opens"]:
            yield self._opened(site, fibre)
        # What is mended in the cable is at no site whose splices are recorded.
        if item["act"] in {"re_splice", "fibres_crossed"} or (item["act"] == "locate_break" and item["opens"]):
            yield self._splice(fibre, site)
        elif item["act"] == "clean_and_inspect":
            for side in ("towards_a", "towards_b"):
                head = self._hand.head(f"{self._name}/clean/{site}/{fibre}/{side}", self._at(hours=2))
                yield make_cleaning(**head, site=site, fibre=fibre, side=side)

    def _splice(self, fibre: int, site: str) -> Body:
        screen = SplicerScreen(self.trial.course.truth, seed=self.trial.seed, estimates_db={})
        return splice_record(
            f"{self._name}/splice/{site}/{fibre}",
            site=site,
            joints=[screen.joint(site=site, fibre=fibre)],
            attempt=1 + self.number,
            splicer=single_splicer("FS-2207"),
            hand=self._hand,
            made_at=self._at(hours=2),
        )

    def _opened(self, site: str, fibre: int) -> Body:
        """Open a closure for one fibre, so that the tests of the others stand; its cable number is its own."""
        name, made_at = f"{self._name}/opened/{site}/{fibre}", self._at(hours=1)
        body = closure_record(name, site=site, state="opened", photographs=1, hand=self._hand, made_at=made_at)
        section = f"S{self.trial.course.sites.index(site)}"
        return {**body, "opened_for": [{"section": section, "first": fibre, "last": fibre}]}

    def _sealed(self, site: str) -> Body:
        name, made_at = f"{self._name}/sealed/{site}", self._at(hours=30)
        return closure_record(name, site=site, state="sealed", photographs=1, hand=self._hand, made_at=made_at)

    def _later(self, record: Body) -> Body:
        times = {
            name: (datetime.fromisoformat(record[name]) + self.number * _EACH_VISIT).isoformat()
            for name in _TIMES
            if name in record
        }
        return {**record, **times}

    def _at(self, *, hours: int) -> datetime:
        return SEALED_AT + self.number * _EACH_VISIT + timedelta(hours=hours)

    @property
    def _hand(self) -> Any:
        return self.trial.course.gear.hand_at_a

    @property
    def _name(self) -> str:
        return f"{self.trial.seed}/visit/{self.number}"
