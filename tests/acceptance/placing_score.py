"""Scoring where events were placed: each finding is held against the joints that are behind its readings."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from service.vocabulary.findings.finding import FindingDocument, ReadingDocument
from tests.acceptance.trials import JudgedFibre
from tests.simulator.listing import Listed

BY_PLACE = {"splice_loss", "termination_loss"}
# One reading has 0.006 dB of noise, the mean of two 0.0042 dB: one in 10^6 is off by more than five of these.
MEAN_TOLERANCE_DB = 0.0213
# Losses of events are whole thousandths of a dB; half of one tells two sums apart.
_HALF_A_STEP_DB = 0.0005


@dataclass(kw_only=True)
class PlacingScore:
    """How the events of many fibres were placed.

    `misplaced` names each determined finding that stands on another joint's event or denies its own, `untrue` each
    whose bounds do not hold the true loss within noise.
    """

    fibres: int = 0
    listed_alone: int = 0
    used_alone: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    misplaced: list[str] = field(default_factory=list)
    untrue: list[str] = field(default_factory=list)

    def add(self, fibre: JudgedFibre) -> None:
        """Score one fibre."""
        self.fibres += 1
        used: set[tuple[str, str]] = set()
        for finding in fibre.findings:
            self.outcomes[finding["outcome"]] += 1
            if finding["outcome"] == "undetermined":
                self.reasons[f"{finding['quantity']}: {finding['reason']}"] += 1
            elif finding["quantity"] in BY_PLACE:
                used |= {(one["record"], one["distance_m"]) for one in finding["readings"] if "distance_m" in one}
                self._score_place(fibre, finding)
        alone = set(_listed_alone(fibre))
        self.listed_alone += len(alone)
        self.used_alone += len(alone & used)

    def merge(self, other: "PlacingScore") -> None:
        """Add what was scored elsewhere."""
        self.fibres += other.fibres
        self.listed_alone += other.listed_alone
        self.used_alone += other.used_alone
        self.outcomes += other.outcomes
        self.reasons += other.reasons
        self.misplaced += other.misplaced
        self.untrue += other.untrue

    @property
    def determined_share(self) -> float:
        """Share of the events listed alone that a determined finding stands on."""
        return self.used_alone / self.listed_alone

    @property
    def undetermined_share(self) -> float:
        """Share of all findings that are undetermined."""
        return self.outcomes["undetermined"] / sum(self.outcomes.values())

    def _score_place(self, fibre: JudgedFibre, finding: FindingDocument) -> None:
        said = f"{fibre.name}: {finding['criterion']} at {finding['site']}"
        faults = list(wrong_events(fibre, finding))
        if faults:
            self.misplaced.append(f"{said}: {'; '.join(faults)}")
        elif not _holds_truth(fibre, finding):
            self.untrue.append(f"{said}: {_bounds_db(finding)} against {_true_db(fibre, finding)} dB")


def _listed_alone(fibre: JudgedFibre) -> Iterator[tuple[str, str]]:
    for trace in fibre.shown.values():
        for distance_m, listed in trace.events.items():
            if listed.sites and listed.is_alone:
                yield trace.record, distance_m


def wrong_events(fibre: JudgedFibre, finding: FindingDocument) -> Iterator[str]:
    """Say of each reading that is not of the joint that a finding is about what it is of.

    A joint that no event of a trace holds may be spoken for by the others of its dead zone: it lost no more than they
    show together. One that has an event of its own may not.
    """
    site, together = fibre.site_index(finding), fibre.dead_zone_at(finding)
    for reading in finding["readings"]:
        events = fibre.shown[reading["record"]].events
        own = next((listed for listed in events.values() if site in listed.sites), None)
        if "distance_m" not in reading:
            if own is not None and abs(own.loss_db) > float(reading["within"]):
                yield f"said to be unseen, listed at {own.distance_m} m with {own.loss_db} dB"
            continue
        summed = _summed(events, reading)
        sites = frozenset[int]().union(*(listed.sites for listed in summed))
        if not summed:
            yield f"{reading['value']} dB from {reading['distance_m']} m on is the loss of no run of events"
        elif site not in sites and (own is not None or not sites & together):
            of = sorted(sites) or "no site"
            yield f"{reading['distance_m']} m belongs to {of}, not to {site} of {sorted(together)}"


def _summed(events: Mapping[str, Listed], reading: ReadingDocument) -> list[Listed]:
    """Return the run of events whose losses a reading adds up, from the one that it names."""
    in_order = list(events)
    summed: list[Listed] = []
    total_db = 0.0
    for distance_m in in_order[in_order.index(reading["distance_m"]) :]:
        summed.append(events[distance_m])
        total_db += events[distance_m].loss_db
        if abs(total_db - float(reading["value"])) < _HALF_A_STEP_DB:
            return summed
    return []


def _holds_truth(fibre: JudgedFibre, finding: FindingDocument) -> bool:
    low_db, high_db = _bounds_db(finding)
    least_db, most_db = _true_db(fibre, finding)
    tolerance_db = MEAN_TOLERANCE_DB * len(fibre.dead_zone_at(finding)) ** 0.5
    return bool(low_db - tolerance_db <= most_db and least_db <= high_db + tolerance_db)


def _bounds_db(finding: FindingDocument) -> tuple[float, float]:
    if "value" in finding:
        return float(finding["value"]), float(finding["value"])
    return float(finding["low"]), float(finding["high"])


def _true_db(fibre: JudgedFibre, finding: FindingDocument) -> tuple[float, float]:
    together, nm = fibre.dead_zone_at(finding), finding["wavelength_nm"]
    return fibre.trial.true_losses_db(fibre.number, together, wavelength_nm=nm)
