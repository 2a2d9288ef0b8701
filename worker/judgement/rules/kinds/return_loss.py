"""The criterion about what a link sends back at each end: as measured there, or as worked out from a trace."""

from collections.abc import Iterator

from service.vocabulary.criteria.links import ReturnLossCriterion
from service.vocabulary.criteria.words import LinkStretch
from service.vocabulary.design.layout import Span
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import PDB_PER_MDB
from service.vocabulary.records.words import Qualifier
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.link_tests import DirectionTest, known_of, reading_of, tests_from
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.returned_light import returned_light
from worker.judgement.history.acts import Measurement, ReturnLoss, Trace
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, mdb_text
from worker.judgement.rules.base import LimitRule
from worker.judgement.words import DIRECTION_LABELS

# [0.001 dB] The most that a record can state: what lies above a reading is not known, but above this nothing does.
_MOST_MDB = 120_000

_QUALIFIER_LABELS = {Qualifier.EQ: "", Qualifier.GT: "more than ", Qualifier.LT: "less than "}


class ReturnLossRule(LimitRule[ReturnLossCriterion]):
    """One limit at both ends, never averaged: each end's transmitter sees only its own."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding at A and one at B for a fibre that runs from end to end, or at both ends of each span.

        Of what is joined at those of its ends that have a connection: nothing is seen from a bare fibre. Where one end
        is agreed, at that alone.
        """
        asked, test = self.criterion, self.criterion.required_tests[0].name
        for span in self.stretches(fibre):
            for way in tests_from(fibre, asked.tested_from, test=test, wavelength_nm=asked.wavelength_nm, between=span):
                end = span.first if way.is_forward else span.last
                if asked.over is LinkStretch.JOINED and not fibre.layout.has_connections(end):
                    continue
                found = self.span_finding(fibre, span, self._judge(fibre, span, way))
                found = found._replace(site=found.from_site if way.is_forward else found.to_site)
                yield found._replace(from_site=None, to_site=None) if span == fibre.whole else found

    def _judge(self, fibre: FibreMeasured, span: Span, found: DirectionTest) -> Judgement:
        """Hold what comes back at the end towards A, or at that towards B, against the limit."""
        known = known_of(found, read=_reading_of_loss)._replace(limit=self.limit)
        if found.missing is not None:
            return known
        for one in found.measurements:
            if isinstance(one, ReturnLoss):
                return self._hold_measured(one, known)
            if isinstance(one, Trace) and one.span == (span.first, span.last):
                return self._hold_computed(fibre, one, known)
        way = f"{DIRECTION_LABELS[found.is_forward]} at {found.wavelength_nm} nm"
        detail = f"no OTDR trace {way} runs from end to end"
        return known._replace(reason=Reason.NO_EVIDENCE, detail=detail)

    def _hold_measured(self, measured: ReturnLoss, known: Judgement) -> Judgement:
        """Hold what a record of this end states; a bound counts as one."""
        asked, far_end = self.criterion.far_end, measured.far_end
        if asked is not None and far_end != asked:
            detail = f"the far end was {far_end}, asked for: {asked.value}"
            return known._replace(reason=Reason.FAR_END_UNLIKE, detail=detail)
        value, qualifier = measured.return_loss_mdb, Qualifier(measured.qualifier)
        detail = f"{_QUALIFIER_LABELS[qualifier]}{mdb_text(value)} dB, the far end {far_end}"
        low = 0 if qualifier is Qualifier.LT else value
        high = _MOST_MDB if qualifier is Qualifier.GT else value
        return known._replace(detail=detail).held(low * PDB_PER_MDB, high * PDB_PER_MDB, self.limit)

    def _hold_computed(self, fibre: FibreMeasured, whole: Trace, known: Judgement) -> Judgement:
        """Hold what the events and the backscatter of a trace of the whole fibre add up to."""
        known = known._replace(readings=(reading_of(whole),))
        bounds = returned_light(fibre, whole, far_end=self.criterion.far_end)
        if bounds.reason is not None:
            return known._replace(reason=bounds.reason, detail=bounds.detail)
        low, high = bounds.low_tenth_mdb * PDB_PER_TENTH_MDB, bounds.high_tenth_mdb * PDB_PER_TENTH_MDB
        return known._replace(detail=bounds.detail).held(low, high, self.limit)


def _reading_of_loss(measurement: Measurement) -> RecordReading:
    return reading_of(measurement, measurement.return_loss_mdb if isinstance(measurement, ReturnLoss) else None)
