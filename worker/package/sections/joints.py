"""What was found at joints, in many of them together, and where no joint is."""

from service.vocabulary.words import Quantity, Unit
from worker.package.data.findings import FindingsByQuantity
from worker.package.document_model import Column, Kind, Section, listing
from worker.package.phrases import UNKNOWN, number_text
from worker.package.sections.finding_columns import (
    ANY_LIMIT,
    ANY_MARGIN,
    ANY_VALUE,
    CRITERION,
    FIBRE,
    OUTCOME,
    POSITION,
    UNIT,
    WAVELENGTH,
    FindingColumn,
    detail_column,
    finding_table,
    measured_in,
    place_column,
    read_both_ways,
    titled_findings,
)
from worker.package.wording.values import LEAST, value_text

_BOUNDS_NOTE = (
    "A loss is positive, an apparent gain negative. ± stands before the threshold below which the trace shows "
    f"nothing at the joint; the mean then lies between the two bounds. {UNKNOWN} means not known."
)
_CONNECTIONS_NOTE = (
    "A connection and the splice a few metres behind it are read as one where no trace sees them apart. A reflectance "
    "is negative, and the more so the better. An end face is inspected on both sides of its connection."
)


def statistics_section(findings: FindingsByQuantity) -> Section:
    """Return what was found of many joints together."""
    table = finding_table(_STATISTIC_COLUMNS, findings.get(Quantity.JOINT_STATISTIC, ()))
    return listing(title="Statistics of joints", blocks=[table], note=_STATISTICS_NOTE)


def joints_section(findings: FindingsByQuantity) -> Section:
    """Return the joint table."""
    table = finding_table(_JOINT_COLUMNS, findings.get(Quantity.SPLICE_LOSS, ()))
    return listing(title="Joints", blocks=[table], note=_BOUNDS_NOTE)


def connections_section(findings: FindingsByQuantity) -> Section:
    """Return the connections with and without the splice behind them, what joints send back, and the end faces."""
    blocks = titled_findings(
        ("Connections with the splice behind them", _JOINT_COLUMNS, findings.get(Quantity.TERMINATION_LOSS, ())),
        ("Connections by themselves", _JOINT_COLUMNS, findings.get(Quantity.CONNECTION_LOSS, ())),
        ("Reflectance", _REFLECTANCE_COLUMNS, findings.get(Quantity.REFLECTANCE, ())),
        ("End faces", _END_FACE_COLUMNS, findings.get(Quantity.END_FACE, ())),
    )
    return listing(title="Connections and end faces", blocks=blocks, note=_CONNECTIONS_NOTE)


def beside_joints_section(findings: FindingsByQuantity) -> Section:
    """Return what was found of losses on no joint, and of bends."""
    blocks = titled_findings(
        ("Losses where the design has no joint", _UNEXPECTED_COLUMNS, findings.get(Quantity.STRAY_LOSS, ())),
        ("Bends: how much more is lost at the longer wavelength", _BEND_COLUMNS, findings.get(Quantity.BEND, ())),
    )
    return listing(title="Stray losses and bends", blocks=blocks)


_STATISTICS_NOTE = f"Of each segment's own joints. {LEAST} stands before a limit that is the least that is allowed."
_STATISTIC_COLUMNS = (
    FIBRE,
    FindingColumn(Column(heading="Segment", share=56), lambda finding: ", ".join(finding.segments)),
    CRITERION,
    FindingColumn(
        Column(heading="Joints", share=34, kind=Kind.NUMBER), lambda finding: number_text(finding.joint_count)
    ),
    ANY_VALUE,
    ANY_LIMIT,
    ANY_MARGIN,
    UNIT,
    OUTCOME,
    detail_column("Population", share=120),
)
_JOINT_COLUMNS = (
    FIBRE,
    place_column("Site", share=66),
    POSITION,
    WAVELENGTH,
    *read_both_ways(Unit.DB),
    FindingColumn(Column(heading="Mean or bounds", unit=Unit.DB, share=84, kind=Kind.NUMBER), value_text),
    *measured_in(Unit.DB)[1:],
    OUTCOME,
)
_REFLECTANCE_COLUMNS = (
    FIBRE,
    place_column("Site", share=66),
    POSITION,
    WAVELENGTH,
    *read_both_ways(Unit.DB),
    *measured_in(Unit.DB, value="Worse or bounds"),
    OUTCOME,
)
_END_FACE_COLUMNS = (
    FIBRE,
    place_column("Site and side", share=90),
    POSITION,
    OUTCOME,
    detail_column("What was seen", share=240),
)
_UNEXPECTED_COLUMNS = (
    FIBRE,
    place_column("Place", share=70),
    WAVELENGTH,
    *measured_in(Unit.DB),
    OUTCOME,
    detail_column("What traces show", share=150),
)
_BEND_COLUMNS = (
    FIBRE,
    place_column("Place", share=60),
    *measured_in(Unit.DB, value="Difference"),
    OUTCOME,
    detail_column("What traces show", share=170),
)
