"""A design and criteria made ready for measuring, once for all fibres."""

from collections.abc import Iterator
from dataclasses import dataclass

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.criteria.joints import BendCriterion, JointLossCriterion
from service.vocabulary.criteria.links import LinkAttenuationCriterion
from service.vocabulary.criteria.workmanship import AttemptsAboveLoss, WorkmanshipCriterion
from service.vocabulary.design.layout import Layout
from service.vocabulary.words import Reason
from worker.judgement.fibre.end_faces import required_end_face_sites
from worker.judgement.history.acts import Link, LinkLoss
from worker.judgement.numbers.exact import TENTHS_PER_MDB, is_below_fibre_alone, limit_mdb


@dataclass(frozen=True, kw_only=True, slots=True)
class Prepared:
    """What every fibre of a route is measured by.

    `wavelengths_nm` are those at which some criterion asks for the losses of places.
    """

    layout: Layout
    criteria: Criteria
    last_index: int
    wavelengths_nm: tuple[int, ...]
    link_criteria: tuple[LinkAttenuationCriterion, ...]
    end_face_sites: frozenset[int]
    below_zero_tenth_mdb: int

    def fault_of_loss(self, test: Link) -> Reason | None:
        """Return that a loss from end to end is less, by any criterion, than the fibre alone must have."""
        if not isinstance(test, LinkLoss):
            return None
        is_below = any(
            is_below_fibre_alone(
                loss_mdb=test.loss_mdb,
                least_mdb_per_km=limit_mdb(one.least_attenuation_db_per_km),
                length_um=self.layout.site_offsets_um[-1],
                uncertainty_mdb=limit_mdb(one.uncertainty_db),
            )
            for one in self.link_criteria
            if one.wavelength_nm == test.wavelength_nm
        )
        return Reason.BELOW_FIBRE_ALONE if is_below else None


def prepare_measuring(layout: Layout, criteria: Criteria) -> Prepared:
    """Make a design and criteria ready."""
    asked = [nm for criterion in criteria.criteria for nm in _wavelengths_of_losses(criterion)]
    return Prepared(
        layout=layout,
        criteria=criteria,
        last_index=len(layout.design.sites) - 1,
        wavelengths_nm=tuple(dict.fromkeys(asked)),
        link_criteria=tuple([one for one in criteria.criteria if isinstance(one, LinkAttenuationCriterion)]),
        end_face_sites=required_end_face_sites(criteria, layout),
        below_zero_tenth_mdb=limit_mdb(criteria.mean_below_zero_db) * TENTHS_PER_MDB,
    )


def _wavelengths_of_losses(criterion: Criterion) -> Iterator[int]:
    match criterion:
        case JointLossCriterion():
            yield criterion.wavelength_nm
        case BendCriterion():
            yield from (criterion.short_wavelength_nm, criterion.long_wavelength_nm)
        case WorkmanshipCriterion(demand=AttemptsAboveLoss() as demand):
            yield demand.wavelength_nm
