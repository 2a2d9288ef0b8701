"""The criteria about dispersion: chromatic, and that of polarization modes."""

from service.vocabulary.criteria.links import ChromaticDispersionCriterion, PolarizationModeDispersionCriterion
from service.vocabulary.criteria.words import Unit
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import decimal_text
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.link_tests import both_ways, known_of, reading_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Dispersion, Measurement
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import PARTS
from worker.judgement.rules.base import EndToEndRule, limit_of
from worker.judgement.words import DIRECTION_LABELS


class DispersionRule(EndToEndRule[ChromaticDispersionCriterion | PolarizationModeDispersionCriterion]):
    """The most of one kind of dispersion that the link may have, whatever its sign; one direction is enough."""

    def __init__(
        self, criterion: ChromaticDispersionCriterion | PolarizationModeDispersionCriterion, layout: Layout
    ) -> None:
        super().__init__(criterion, layout)
        is_chromatic = isinstance(criterion, ChromaticDispersionCriterion)
        unit, places = (Unit.PS_PER_NM, 2) if is_chromatic else (Unit.PS, 3)
        self.limit = limit_of(criterion, unit=unit, places=places)

    def judge(self, fibre: FibreMeasured, _: Span) -> Judgement:
        """Hold the latest record of either direction that counts against the limit, whatever the value's sign."""
        ways = both_ways(
            fibre,
            test="dispersion",
            wavelength_nm=self.criterion.wavelength_nm,
            is_wanted=lambda one: self._stated(one) is not None,
        )
        known = known_of(*ways, read=self._reading_of)._replace(limit=self.limit)
        measured = sorted((one for way in ways for one in way.measurements), key=lambda one: one.stamp)
        if not measured:
            return known
        held = [self._hold(one, known) for one in measured]
        is_decided = len({one.outcome for one in held}) == 1 or latest_is_proven([one.stamp for one in measured])
        if not is_decided:
            return known._replace(reason=Reason.ORDER_NOT_PROVEN, detail="; ".join(one.detail for one in held))
        return held[-1]

    def _stated(self, measured: Measurement) -> int | None:
        """Return what a record says of the quantity, in the last place of the limit, if it says anything."""
        if not isinstance(measured, Dispersion):
            return None
        return measured.chromatic_cps_per_nm if self.limit.unit is Unit.PS_PER_NM else measured.pmd_fs

    def _hold(self, measured: Measurement, known: Judgement) -> Judgement:
        stated, places = self._stated(measured), self.limit.places
        assert stated is not None
        text = f"{decimal_text(stated, places=places)} {self.limit.unit.value}"
        detail = f"{text} ({DIRECTION_LABELS[measured.is_forward]})"
        value = abs(stated) * PARTS // 10**places
        return known._replace(detail=detail).held(value, value, self.limit)

    def _reading_of(self, measured: Measurement) -> RecordReading:
        return reading_of(measured, self._stated(measured), places=self.limit.places)
