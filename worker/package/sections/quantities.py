"""What was found, quantity by quantity: at joints, of fibres from end to end, and of the fibre between its joints."""

from service.vocabulary.criteria.words import Quantity, Unit
from worker.package.phrases import UNKNOWN, number_text
from worker.package.sections.columns import number_column, text_column
from worker.package.sections.finding_columns import (
    ANY_LIMIT,
    ANY_MARGIN,
    ANY_VALUE,
    CRITERION,
    POSITION,
    UNIT,
    WAVELENGTH,
    FindingColumn,
    FindingSection,
    FindingTable,
    detail_text,
    measured_in,
    read_both_ways,
)
from worker.package.wording.values import LEAST, place_text, value_text

_BOUNDS_NOTE = (
    "A loss is positive, an apparent gain negative. ± stands before what the trace's threshold and noise can hide "
    "at the joint; the mean then lies between the two bounds. What was agreed to be read from one end is that reading, "
    f"and no loss of a splice. {UNKNOWN} means not known."
)
_CONNECTIONS_NOTE = (
    "A connection and the splice a few metres behind it are read as one where no trace sees them apart. A reflectance "
    "is negative, and the more so the better. An end face is inspected on both sides of its connection."
)
_RETURN_LOSS_NOTE = (
    "A return loss is positive, and the larger the better. Each end sees its own; the two are never averaged."
)
_STATISTICS_NOTE = f"Of each segment's own joints. {LEAST} stands before a limit that is the least that is allowed."

_SEGMENTS: FindingColumn = text_column("Segment", 56, lambda finding: ", ".join(finding.segments))
_JOINT_COUNT: FindingColumn = number_column("Joints", 34, lambda finding: number_text(finding.joint_count))
_MEAN: FindingColumn = number_column("Value or bounds", 84, value_text, unit=Unit.DB)
_AT_JOINT = (POSITION, WAVELENGTH, *read_both_ways(Unit.DB))
_JOINT_LOSS = (*_AT_JOINT, _MEAN, *measured_in(Unit.DB)[1:])
_SITE = text_column("Site", 66, place_text)

STATISTICS = FindingSection(
    "Statistics of joints",
    FindingTable(
        Quantity.JOINT_STATISTIC,
        _SEGMENTS,
        shows=(CRITERION, _JOINT_COUNT, ANY_VALUE, ANY_LIMIT, ANY_MARGIN, UNIT),
        detail=text_column("Population", 120, detail_text),
    ),
    note=_STATISTICS_NOTE,
)
# In the order in which they are read.
BY_FIBRE = (
    FindingSection(
        "End to end",
        FindingTable(
            Quantity.LINK_ATTENUATION,
            text_column("Ends", 110, place_text),
            shows=(WAVELENGTH, *read_both_ways(Unit.DB), *measured_in(Unit.DB)),
        ),
    ),
    FindingSection(
        "Joints",
        FindingTable(Quantity.SPLICE_LOSS, _SITE, shows=_JOINT_LOSS),
        FindingTable(
            Quantity.DIRECTION_DIFFERENCE,
            _SITE,
            shows=(*_AT_JOINT, *measured_in(Unit.DB, value="Difference")),
            heading="How far the two directions are apart",
        ),
        note=_BOUNDS_NOTE,
    ),
    FindingSection(
        "Connections and end faces",
        FindingTable(
            Quantity.TERMINATION_LOSS, _SITE, shows=_JOINT_LOSS, heading="Connections with the splice behind them"
        ),
        FindingTable(Quantity.CONNECTION_LOSS, _SITE, shows=_JOINT_LOSS, heading="Connections by themselves"),
        FindingTable(
            Quantity.REFLECTANCE,
            _SITE,
            shows=(*_AT_JOINT, *measured_in(Unit.DB, value="Worse or bounds")),
            heading="Reflectance",
        ),
        FindingTable(
            Quantity.END_FACE,
            text_column("Site and side", 90, place_text),
            shows=(POSITION,),
            detail=text_column("What was seen", 240, detail_text),
            heading="End faces",
        ),
        note=_CONNECTIONS_NOTE,
    ),
    FindingSection(
        "Stray losses and bends",
        FindingTable(
            Quantity.STRAY_LOSS,
            text_column("Place", 70, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.DB)),
            detail=text_column("What traces show", 150, detail_text),
            heading="Losses where the design has no joint",
        ),
        FindingTable(
            Quantity.BEND,
            text_column("Place", 60, place_text),
            shows=measured_in(Unit.DB, value="Difference"),
            detail=text_column("What traces show", 170, detail_text),
            heading="Bends: how much more is lost at the longer wavelength",
        ),
    ),
    FindingSection(
        "Return loss",
        FindingTable(
            Quantity.RETURN_LOSS,
            text_column("At", 66, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.DB, limit="Least allowed")),
            detail=text_column("How it is known", 150, detail_text),
        ),
        note=_RETURN_LOSS_NOTE,
    ),
    FindingSection(
        "Length and attenuation of the fibre",
        FindingTable(
            Quantity.LENGTH,
            text_column("From and to", 66, place_text),
            shows=(*read_both_ways(Unit.PERCENT), *measured_in(Unit.PERCENT)),
            detail=text_column("What was measured", 150, detail_text),
            heading="Length against the design's",
        ),
        FindingTable(
            Quantity.SPLICE_DENSITY,
            text_column("From and to", 76, place_text),
            shows=measured_in(Unit.PER_KM),
            detail=text_column("What the design says", 150, detail_text),
            heading="Splices for each kilometre of span",
        ),
        FindingTable(
            Quantity.ATTENUATION_COEFFICIENT,
            text_column("Where", 76, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.DB_PER_KM)),
            detail=text_column("What traces state", 150, detail_text),
            heading="The fibre's own loss without its joints",
        ),
        FindingTable(
            Quantity.REEL_DIFFERENCE,
            text_column("Where", 76, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.DB_PER_KM, value="Difference")),
            detail=text_column("What traces and the reel test state", 150, detail_text),
            heading="The fibre's own loss against that on its reel",
        ),
    ),
    FindingSection(
        "References of source and meter",
        FindingTable(
            Quantity.REFERENCE_AGE,
            text_column("From and to", 66, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.H)),
            detail=text_column("When they were taken", 170, detail_text),
        ),
    ),
    FindingSection(
        "How traces were taken",
        FindingTable(
            Quantity.TRACE_SETTINGS,
            text_column("From and to", 66, place_text),
            shows=(WAVELENGTH,),
            detail=text_column("Settings", 270, detail_text),
        ),
    ),
    FindingSection(
        "Continuity and dispersion",
        FindingTable(
            Quantity.CONTINUITY,
            text_column("Ends", 90, place_text),
            detail=text_column("What was seen", 250, detail_text),
            heading="Continuity",
        ),
        FindingTable(
            Quantity.CHROMATIC_DISPERSION,
            text_column("Ends", 90, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.PS_PER_NM)),
            detail=text_column("What was measured", 120, detail_text),
            heading="Chromatic dispersion, whatever its sign",
        ),
        FindingTable(
            Quantity.POLARIZATION_MODE_DISPERSION,
            text_column("Ends", 90, place_text),
            shows=(WAVELENGTH, *measured_in(Unit.PS)),
            detail=text_column("What was measured", 120, detail_text),
            heading="Polarization mode dispersion",
        ),
    ),
)
