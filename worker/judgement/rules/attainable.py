"""Whether criteria can be met at all on a route: what they say themselves, and what physics leaves of them."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.criteria import AnyCriterion, Criteria
from service.vocabulary.criteria.links import ReturnLossCriterion
from service.vocabulary.criteria.review import CriteriaReport, Severity, contradictions_in
from service.vocabulary.criteria.route_feasibility import infeasibilities_on
from service.vocabulary.criteria.scope import scope_of
from service.vocabulary.criteria.words import DecisionRule, LinkStretch
from service.vocabulary.design.design import Section
from service.vocabulary.design.layout import Layout, Span, fibre_length_um
from service.vocabulary.quantities import UM_PER_KM, metres_text
from worker.judgement.glass import CUSTOMARY, Glass
from worker.judgement.numbers.exact import TENTHS_PER_MDB, db_text, limit_mdb, rounded_tenth_mdb
from worker.physics.return_loss import ABSORBED, Link, link_return_loss_db

# A backscatter coefficient is known to about 1 dB, customary, from memory.
_COEFFICIENT_KNOWN_TO_TENTH_MDB = 10_000


def attainability(layout: Layout, criteria: Criteria) -> list[CriteriaReport]:
    """Return which criteria cannot be met, can hardly be met, or contradict each other on a route."""
    return [
        *contradictions_in(criteria),
        *infeasibilities_on(criteria, layout),
        *(report for one in criteria.criteria for report in _glass(layout, one)),
    ]


def unmeetable_on(layout: Layout, criteria: Criteria) -> dict[str, str]:
    """Return why criteria cannot be met on a route, by code: no work turns what they find around."""
    reports = [one for one in attainability(layout, criteria) if one.severity is Severity.UNMEETABLE]
    return {code: report.detail for report in reversed(reports) for code in report.criteria}


def return_loss_of_fibre_alone_tenth_mdb(sections: Sequence[Section], *, wavelength_nm: int) -> int | None:
    """Return the return loss of sections in line, without joints or ends, as seen from the first.

    None at a wavelength for which nothing is customary; a section's own index and coefficient go before what is.
    """
    customary = CUSTOMARY.get(wavelength_nm)
    if customary is None:
        return None
    with_length = [
        (length_um, _glass_of(section, wavelength_nm, customary))
        for section in sections
        if (length_um := fibre_length_um(section))
    ]
    if not with_length:
        return None
    link = Link(
        section_lengths_km=[length_um / UM_PER_KM for length_um, _ in with_length],
        attenuations_db_per_km=[one.attenuation_db_per_km for _, one in with_length],
        backscatter_coefficients_db=[one.backscatter_db for _, one in with_length],
        group_indices=[one.group_index for _, one in with_length],
    )
    return rounded_tenth_mdb(float(link_return_loss_db(link=link, far_end_share=ABSORBED)))


def _glass(layout: Layout, criterion: AnyCriterion) -> Iterator[CriteriaReport]:
    """Find a return loss that the fibre alone does not leave at one of its ends."""
    if not isinstance(criterion, ReturnLossCriterion):
        return
    scope = scope_of(criterion, layout)
    whole = (Span(first=0, last=len(layout.design.sites) - 1),) if scope.holds_end_to_end else ()
    spans = scope.spans if criterion.over is LinkStretch.SPAN else whole
    asked = limit_mdb(criterion.limit_db) * TENTHS_PER_MDB
    if criterion.decision is DecisionRule.GUARDED and criterion.uncertainty_db is not None:
        asked += limit_mdb(criterion.uncertainty_db) * TENTHS_PER_MDB
    nm, offsets_um = criterion.wavelength_nm, layout.site_offsets_um
    ends = [
        (left, offsets_um[span.last] - offsets_um[span.first])
        for span in spans
        for step in (1, -1)
        if (
            left := return_loss_of_fibre_alone_tenth_mdb(
                layout.design.sections[span.first : span.last][::step], wavelength_nm=nm
            )
        )
        is not None
    ]
    least, length_um = min(ends, default=(asked, 0))
    if asked <= least:
        return
    is_beyond_doubt = asked - least > _COEFFICIENT_KNOWN_TO_TENTH_MDB
    yield CriteriaReport(
        criteria=(criterion.code,),
        severity=Severity.UNMEETABLE if is_beyond_doubt else Severity.QUESTIONABLE,
        detail=(
            f"asks for {db_text(asked)} dB, and the backscatter of {metres_text(length_um)} m of "
            f"fibre alone leaves {db_text(least)} dB, known to about 1 dB"
        ),
    )


def _glass_of(section: Section, wavelength_nm: int, customary: Glass) -> Glass:
    stated = next((one for one in section.optics if one.wavelength_nm == wavelength_nm), None)
    if stated is None:
        return customary
    return Glass(
        attenuation_db_per_km=customary.attenuation_db_per_km,
        backscatter_db=customary.backscatter_db if stated.backscatter_db is None else stated.backscatter_db,
        group_index=customary.group_index if stated.group_index is None else stated.group_index,
    )
