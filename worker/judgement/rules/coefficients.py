"""The criterion about the fibre's own attenuation, section by section or over a span."""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from service.vocabulary.finding import FindingDocument, ReadingDocument, VoidDocument
from service.vocabulary.layout import Layout, Span
from service.vocabulary.link_criteria import AttenuationCoefficientCriterion, Stretch
from service.vocabulary.quantities import UM_PER_CM, to_last_place
from service.vocabulary.words import DecisionRule, EventKind, Outcome, Reason, SiteKind, Unit
from worker.judgement.acts import Body, Trace
from worker.judgement.exact import PDB_PER_TENTH_MDB, last_place, mean_tenth_mdb
from worker.judgement.fibre_under_test import FibreUnderTest, reason_of, void_documents
from worker.judgement.findings import Judgement, undetermined
from worker.judgement.limits import Limit, to_parts
from worker.judgement.placed import Reading
from worker.judgement.rules.base import Rule
from worker.judgement.rules.stretches import length_over_um, section_finding, span_finding
from worker.judgement.words import DIRECTION, REASON_SPOKEN, SPOKEN


class OneWayCoefficient(NamedTuple):
    """What one direction states of the fibre in a section, in 0.001 dB/km, or why it states nothing."""

    reason: Reason | None
    mdb_per_km: int
    readings: tuple[ReadingDocument, ...]
    void: tuple[VoidDocument, ...]


class CoefficientRule(Rule[AttenuationCoefficientCriterion]):
    """One limit for each kilometre of fibre; a stretch too short to be measured has no finding."""

    def __init__(self, criterion: AttenuationCoefficientCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        band = 0
        if criterion.decision is not DecisionRule.SIMPLE and criterion.uncertainty_db_per_km is not None:
            band = to_parts(criterion.uncertainty_db_per_km, places=3)
        self.limit = Limit.most(
            to_parts(criterion.limit_db_per_km, places=3), unit=Unit.DB_PER_KM, rule=criterion.decision, band=band
        )
        self._least_um = to_last_place(criterion.least_length_m, places=2) * UM_PER_CM

    def findings(self, fibre: FibreUnderTest) -> Iterator[FindingDocument]:
        """Give one finding for each stretch of a continuous fibre that is long enough."""
        if not fibre.is_continuous:
            return
        if self.criterion.over is Stretch.SPAN:
            for span in self.scope.spans:
                if self._is_measurable(fibre, span):
                    yield span_finding(self.head, fibre, span, self._judge(fibre, span))
            return
        for section in sorted(self.scope.sections):
            span = Span(first=section, last=section + 1)
            if self._is_measurable(fibre, span):
                yield section_finding(self.head, fibre, section, self._judge(fibre, span))

    def _is_measurable(self, fibre: FibreUnderTest, span: Span) -> bool:
        # Of no length at all there is nothing to divide by, whatever the criteria say.
        return length_over_um(fibre, span) >= max(self._least_um, 1)

    def _judge(self, fibre: FibreUnderTest, span: Span) -> Judgement:
        lengths_um = fibre.layout.section_lengths_um
        sum_pdb, stated = Fraction(0), []
        for section in range(span.first, span.last):
            forward = _coefficient(fibre, section, wavelength_nm=self.criterion.wavelength_nm, is_forward=True)
            backward = _coefficient(fibre, section, wavelength_nm=self.criterion.wavelength_nm, is_forward=False)
            stated += [(section, True, forward), (section, False, backward)]
            mean = mean_tenth_mdb(first_mdb=forward.mdb_per_km, second_mdb=backward.mdb_per_km)
            sum_pdb += lengths_um[section] * mean * PDB_PER_TENTH_MDB
        known = undetermined(
            Reason.NO_EVIDENCE,
            _detail(fibre, span, stated),
            limit=self.limit,
            readings=tuple(reading for _, _, one in stated for reading in one.readings),
            void=tuple({item["record"]: item for _, _, one in stated for item in one.void}.values()),
        )
        reason = _reason([one for _, _, one in stated])
        if reason is not None:
            return known._replace(reason=reason)
        return self._hold(known, sum_pdb / length_over_um(fibre, span))

    def _hold(self, known: Judgement, mean_pdb: Fraction) -> Judgement:
        held = known.held(mean_pdb, mean_pdb, self.limit)
        if mean_pdb >= 0:
            return held
        return held._replace(outcome=Outcome.UNDETERMINED, reason=Reason.BELOW_FIBRE_ALONE, grade=None)


def _coefficient(fibre: FibreUnderTest, section: int, *, wavelength_nm: int, is_forward: bool) -> OneWayCoefficient:
    """Return what the shortest pulse states that states anything: the first that counts over the section."""
    trace_set = fibre.trace_set(wavelength_nm=wavelength_nm, is_forward=is_forward)
    void = [item for item in trace_set.void if _covers(item[0], section)]
    reasons: list[Reason] = []
    for trace in trace_set.traces:
        if not _covers(trace, section):
            continue
        fault = _fault_over(fibre, trace, section)
        if fault is not None:
            void.append((trace, fault))
            continue
        shown = _event_behind(fibre, trace, section)
        if isinstance(shown, Reason):
            reasons.append(shown)
        elif "attenuation_db_per_km" not in shown:
            reasons.append(Reason.COEFFICIENT_NOT_STATED)
        else:
            text = shown["attenuation_db_per_km"]
            return OneWayCoefficient(None, last_place(text), (_read(trace, shown, text),), void_documents(void))
    return OneWayCoefficient(reasons[0] if reasons else reason_of(void), 0, (), void_documents(void))


def _covers(trace: Trace, section: int) -> bool:
    return trace.low_index <= section < trace.high_index


def _fault_over(fibre: FibreUnderTest, trace: Trace, section: int) -> Reason | None:
    # Cleaning a connection changes nothing of the fibre behind it; a lid opened may have moved it.
    sites = fibre.layout.design.sites
    closures = [site for site in (section, section + 1) if sites[site].kind is SiteKind.SPLICE_CLOSURE]
    faults = (fibre.counting.fault_at(trace, site) for site in closures)
    return next((fault for fault in faults if fault is not None), None)


def _event_behind(fibre: FibreUnderTest, trace: Trace, section: int) -> Body | Reason:
    """Return the event at the next joint behind a section, as the light goes: it states the fibre before it."""
    placed, site = fibre.placed(trace), section + 1 if trace.is_forward else section
    while site not in placed.readings and site != trace.ends[1]:
        site += 1 if trace.is_forward else -1
    if site == trace.ends[1] and trace.receive is None:
        return placed.shortfall or next(event for event in trace.events if event["kind"] == EventKind.END)
    shown = placed.readings.get(site, Reason.COEFFICIENT_NOT_STATED)
    if isinstance(shown, Reading):
        return shown.events[0] if shown.events else Reason.COEFFICIENT_NOT_STATED
    return shown


def _read(trace: Trace, event: Body, text: str) -> ReadingDocument:
    return {
        "record": trace.stamp.id,
        "direction": DIRECTION[trace.is_forward],
        "value": text,
        "distance_m": event["distance_m"],
    }


def _reason(stated: list[OneWayCoefficient]) -> Reason | None:
    reasons = [one.reason for one in stated if one.reason is not None]
    told = [reason for reason in reasons if reason is not Reason.NO_EVIDENCE]
    if told or not reasons:
        return told[0] if told else None
    return Reason.ONE_DIRECTION_ONLY if len(reasons) < len(stated) else Reason.NO_EVIDENCE


def _detail(fibre: FibreUnderTest, span: Span, stated: list[tuple[int, bool, OneWayCoefficient]]) -> str:
    missing = [
        f"section {fibre.layout.design.sections[section].id} {SPOKEN[is_forward]}: {REASON_SPOKEN[one.reason]}"
        for section, is_forward, one in stated
        if one.reason is not None
    ]
    if missing:
        return "; ".join(missing)
    if span.last - span.first > 1:
        return f"mean of {span.last - span.first} sections and both directions, weighted by length"
    forward, backward = (one.readings[0]["value"] for _, _, one in stated)
    return f"mean of {forward} dB/km ({SPOKEN[True]}) and {backward} dB/km ({SPOKEN[False]})"
