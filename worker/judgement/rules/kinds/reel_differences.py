"""The criterion about a section's fibre as installed against the same fibre on its reel."""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from service.vocabulary.criteria.links import ReelDifferenceCriterion
from service.vocabulary.criteria.words import Unit
from service.vocabulary.design.design import Section
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.words import Reason
from service.vocabulary.quantities import PDB_PER_MDB, to_um
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import limit_mdb, parts_text
from worker.judgement.rules.base import LimitRule, length_over_um, segments_over
from worker.judgement.rules.kinds.coefficients import OneWayCoefficient, read_coefficients
from worker.judgement.words import REASON_LABELS


class ReelDifferenceRule(LimitRule[ReelDifferenceCriterion]):
    """One limit for how much more each section loses than its reel test says; a short one has no finding."""

    unit = Unit.DB_PER_KM

    def __init__(self, criterion: ReelDifferenceCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self._least_um = max(to_um(criterion.least_length_m), 1)
        self._reels = [_read_reels(section, criterion.wavelength_nm) for section in layout.design.sections]

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each section of a continuous fibre that is long enough."""
        for section in sorted(self.scope.sections) if fibre.is_continuous else ():
            span = Span(first=section, last=section + 1)
            if segments_over(fibre, span) and length_over_um(fibre, span) >= self._least_um:
                yield self.section_finding(fibre, section, self._judge(fibre, span))

    def _judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        stated, known = read_coefficients(fibre, span, wavelength_nm=self.criterion.wavelength_nm)
        known = known._replace(limit=self.limit)
        if known.reason is not None:
            return known
        reels = [self._on_reel(fibre, one) for one in stated]
        if None in reels:
            reason = Reason.REEL_TEST_NOT_STATED
            return known._replace(reason=reason, detail=f"{known.detail}; {REASON_LABELS[reason]}")
        twice_mdb = sum(one.mdb_per_km for one in stated)
        installed, reel = Fraction(twice_mdb, 2), Fraction(sum(one for one in reels if one is not None), 2)
        difference = (installed - reel) * PDB_PER_MDB
        said = f"{known.detail}, on the reel {parts_text(reel * PDB_PER_MDB)} dB/km"
        return known._replace(detail=said).held(difference, difference, self.limit)

    def _on_reel(self, fibre: FibreMeasured, stated: OneWayCoefficient) -> Fraction | None:
        """Return the reels' coefficient of all that one direction states as one, weighted by length, in 0.001 dB/km."""
        assert stated.over is not None
        layout, weighted = fibre.layout, 0
        numbers = layout.cable_fibres(fibre.number)
        for index in range(stated.over.first, stated.over.last):
            of_some, of_all = self._reels[index]
            own = of_some.get(numbers[index], of_all)
            if own is None:
                return None
            weighted += own * layout.section_lengths_um[index]
        return Fraction(weighted, length_over_um(fibre, stated.over))


def _read_reels(section: Section, wavelength_nm: int) -> tuple[Mapping[int, int], int | None]:
    """Return what the reel test says of single cable fibres, and of all, in 0.001 dB/km."""
    own = [one for one in section.reel_tests if one.wavelength_nm == wavelength_nm]
    of_some = {
        number: limit_mdb(one.attenuation_db_per_km)
        for one in own
        if one.cable_fibres is not None
        for number in one.cable_fibres.numbers()
    }
    of_all = [limit_mdb(one.attenuation_db_per_km) for one in own if one.cable_fibres is None]
    return of_some, of_all[-1] if of_all else None
