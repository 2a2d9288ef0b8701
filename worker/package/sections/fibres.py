"""What was found of fibres from end to end, and of the fibre between the joints."""

from service.vocabulary.words import Quantity, Unit
from worker.package.data.findings import FindingsByQuantity
from worker.package.document_model import Section, listing
from worker.package.sections.finding_columns import (
    FIBRE,
    OUTCOME,
    WAVELENGTH,
    detail_column,
    finding_table,
    measured_in,
    place_column,
    read_both_ways,
    titled_findings,
)

_RETURN_LOSS_NOTE = (
    "A return loss is positive, and the larger the better. Each end sees its own; the two are never averaged."
)


def link_section(findings: FindingsByQuantity) -> Section:
    """Return the end-to-end table."""
    table = finding_table(_LINK_COLUMNS, findings.get(Quantity.LINK_ATTENUATION, ()))
    return listing(title="End to end", blocks=[table])


def return_loss_section(findings: FindingsByQuantity) -> Section:
    """Return what comes back at A and at B."""
    table = finding_table(_RETURN_LOSS_COLUMNS, findings.get(Quantity.RETURN_LOSS, ()))
    return listing(title="Return loss", blocks=[table], note=_RETURN_LOSS_NOTE)


def length_section(findings: FindingsByQuantity) -> Section:
    """Return the lengths, and what follows from them: splices and loss for each kilometre."""
    coefficients = findings.get(Quantity.ATTENUATION_COEFFICIENT, ())
    blocks = titled_findings(
        ("Length against the design's", _LENGTH_COLUMNS, findings.get(Quantity.LENGTH, ())),
        ("Splices for each kilometre of span", _DENSITY_COLUMNS, findings.get(Quantity.SPLICE_DENSITY, ())),
        ("The fibre's own loss without its joints", _COEFFICIENT_COLUMNS, coefficients),
    )
    return listing(title="Length and attenuation of the fibre", blocks=blocks)


def identity_section(findings: FindingsByQuantity) -> Section:
    """Return whether each fibre comes out where it should, and its dispersion."""
    chromatic = findings.get(Quantity.CHROMATIC_DISPERSION, ())
    polarization = findings.get(Quantity.POLARIZATION_MODE_DISPERSION, ())
    blocks = titled_findings(
        ("Continuity", _CONTINUITY_COLUMNS, findings.get(Quantity.CONTINUITY, ())),
        ("Chromatic dispersion, whatever its sign", _CHROMATIC_COLUMNS, chromatic),
        ("Polarization mode dispersion", _POLARIZATION_COLUMNS, polarization),
    )
    return listing(title="Continuity and dispersion", blocks=blocks)


_LINK_COLUMNS = (
    FIBRE,
    place_column("Ends", share=110),
    WAVELENGTH,
    *read_both_ways(Unit.DB),
    *measured_in(Unit.DB),
    OUTCOME,
)
_RETURN_LOSS_COLUMNS = (
    FIBRE,
    place_column("At", share=66),
    WAVELENGTH,
    *measured_in(Unit.DB, limit="Least allowed"),
    OUTCOME,
    detail_column("How it is known", share=150),
)
_LENGTH_COLUMNS = (
    FIBRE,
    place_column("From and to", share=66),
    *read_both_ways(Unit.PERCENT),
    *measured_in(Unit.PERCENT),
    OUTCOME,
    detail_column("What was measured", share=150),
)
_DENSITY_COLUMNS = (
    FIBRE,
    place_column("From and to", share=76),
    *measured_in(Unit.PER_KM),
    OUTCOME,
    detail_column("What the design says", share=150),
)
_COEFFICIENT_COLUMNS = (
    FIBRE,
    place_column("Where", share=76),
    WAVELENGTH,
    *measured_in(Unit.DB_PER_KM),
    OUTCOME,
    detail_column("What traces state", share=150),
)
_CONTINUITY_COLUMNS = (FIBRE, place_column("Ends", share=90), OUTCOME, detail_column("What was seen", share=250))
_DISPERSION_COLUMNS = (FIBRE, place_column("Ends", share=90), WAVELENGTH)
_CHROMATIC_COLUMNS = (
    *_DISPERSION_COLUMNS,
    *measured_in(Unit.PS_PER_NM),
    OUTCOME,
    detail_column("What was measured", share=120),
)
_POLARIZATION_COLUMNS = (
    *_DISPERSION_COLUMNS,
    *measured_in(Unit.PS),
    OUTCOME,
    detail_column("What was measured", share=120),
)
