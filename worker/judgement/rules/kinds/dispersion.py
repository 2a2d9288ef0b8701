"""The criteria about dispersion: chromatic, and that of polarization modes."""

from abc import abstractmethod
from typing import TypeVar

from service.vocabulary.criteria.links import ChromaticDispersionCriterion, PolarizationModeDispersionCriterion
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.quantities import round_half_even
from service.vocabulary.words import Reason, Unit
from worker.judgement.fibre.end_to_end import both_ways, known_of, missing_reason, reading_of
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import Dispersion, Measurement
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import PARTS, parts_text
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.base import EndToEndRule
from worker.judgement.words import DIRECTION_LABELS

_PARTS_OF_CPS_PER_NM = 10**10
_PARTS_OF_FS = 10**9


_CriterionT = TypeVar("_CriterionT", bound=ChromaticDispersionCriterion | PolarizationModeDispersionCriterion)


class _DispersionRule(EndToEndRule[_CriterionT]):
    """A limit for one of the quantities of a dispersion record; one direction is enough."""

    limit: Limit

    @abstractmethod
    def stated(self, measured: Dispersion) -> int | None:
        """Return what a record says of the quantity, in 1e-12 of its unit, if it says anything."""

    def judge(self, fibre: FibreMeasured) -> Judgement:
        """Hold the latest record of either direction that counts against the limit, whatever the value's sign."""
        ways = both_ways(
            fibre,
            test="dispersion",
            wavelength_nm=self.criterion.wavelength_nm,
            is_wanted=lambda one: isinstance(one, Dispersion) and self.stated(one) is not None,
        )
        known = known_of(missing_reason(*ways), *ways, read=self._reading_of)._replace(limit=self.limit)
        measured = [one for way in ways for one in way.measurements if isinstance(one, Dispersion)]
        if not measured:
            return known
        held = [self._hold(one, known) for one in sorted(measured, key=lambda one: one.stamp.key)]
        is_decided = len({one.outcome for one in held}) == 1 or latest_is_proven([one.stamp for one in measured])
        if not is_decided:
            return known._replace(reason=Reason.ORDER_NOT_PROVEN, detail="; ".join(one.detail for one in held))
        return held[-1]

    def _hold(self, measured: Dispersion, known: Judgement) -> Judgement:
        value = self.stated(measured)
        assert value is not None
        text = parts_text(value, places=self.limit.places)
        detail = f"{text} {self.limit.unit.value} ({DIRECTION_LABELS[measured.is_forward]})"
        return known._replace(detail=detail).held(abs(value), abs(value), self.limit)

    def _reading_of(self, measurement: Measurement) -> RecordReading:
        value, places = self.stated(measurement) if isinstance(measurement, Dispersion) else None, self.limit.places
        return reading_of(
            measurement, None if value is None else round_half_even(value, unit=PARTS // 10**places), places=places
        )


class ChromaticDispersionRule(_DispersionRule[ChromaticDispersionCriterion]):
    """The most chromatic dispersion of the link, whatever its sign."""

    def __init__(self, criterion: ChromaticDispersionCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        most = to_parts(criterion.limit_ps_per_nm, places=2)
        self.limit = Limit.most(most, unit=Unit.PS_PER_NM, places=2)

    def stated(self, measured: Dispersion) -> int | None:
        """Return the chromatic dispersion, if the record states it."""
        cps_per_nm = measured.chromatic_cps_per_nm
        return None if cps_per_nm is None else cps_per_nm * _PARTS_OF_CPS_PER_NM


class PolarizationModeDispersionRule(_DispersionRule[PolarizationModeDispersionCriterion]):
    """The most polarization mode dispersion of the link."""

    def __init__(self, criterion: PolarizationModeDispersionCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = Limit.most(to_parts(criterion.limit_ps, places=3), unit=Unit.PS, places=3)

    def stated(self, measured: Dispersion) -> int | None:
        """Return the polarization mode dispersion, if the record states it."""
        return None if measured.pmd_fs is None else measured.pmd_fs * _PARTS_OF_FS
