"""What the tables of a package have to print by its attached JSON, worked out by nothing of the code that draws them.

Each table is named by its section and what stands over it; its rows give, by column heading, what has to stand there.
"""

from collections.abc import Callable, Sequence

from tests.printed import findings, records, route
from tests.printed.attached import Attached
from tests.printed.values import Json, Row

# Where findings about one quantity are listed, by the table's section and what stands over it.
FINDINGS_OF = {
    ("Statistics of joints", ""): "joint_statistic",
    ("End to end", ""): "link_attenuation",
    ("Joints", ""): "splice_loss",
    ("Joints", "How far the two directions are apart"): "direction_difference",
    ("Connections and end faces", "Connections with the splice behind them"): "termination_loss",
    ("Connections and end faces", "Connections by themselves"): "connection_loss",
    ("Connections and end faces", "Reflectance"): "reflectance",
    ("Connections and end faces", "End faces"): "end_face",
    ("Stray losses and bends", "Losses where the design has no joint"): "stray_loss",
    ("Stray losses and bends", "Bends: how much more is lost at the longer wavelength"): "bend",
    ("Return loss", ""): "return_loss",
    ("Length and attenuation of the fibre", "Length against the design's"): "length",
    ("Length and attenuation of the fibre", "Splices for each kilometre of span"): "splice_density",
    ("Length and attenuation of the fibre", "The fibre's own loss without its joints"): "attenuation_coefficient",
    ("References of source and meter", ""): "reference_age",
    (
        "Length and attenuation of the fibre",
        "The fibre's own loss against that on its reel",
    ): "reel_difference",
    ("How traces were taken", ""): "trace_settings",
    ("Continuity and dispersion", "Continuity"): "continuity",
    ("Continuity and dispersion", "Chromatic dispersion, whatever its sign"): "chromatic_dispersion",
    ("Continuity and dispersion", "Polarization mode dispersion"): "polarization_mode_dispersion",
}
FALLBACK = "Out of specification, and conforming only by fallback after documented attempts"
TOLD = "Ends of fibre, joints off their spot, and traces that fit something else"


def rows(data: Attached, section: str, under: str, headings: Sequence[str]) -> list[Row] | None:
    """Return what a table has to print, `None` if nothing is known of such a table."""
    quantity = FINDINGS_OF.get((section, under))
    if quantity is not None:
        return findings.finding_rows([f for f in data.findings if f["quantity"] == quantity], headings)
    open_lists: dict[tuple[str, str], Callable[[Json], bool]] = {
        ("What does not conform", ""): lambda f: f["outcome"] == "nonconforming",
        ("What does not conform", FALLBACK): lambda f: f.get("by_fallback", False),
        ("What is undetermined", ""): lambda f: f["outcome"] == "undetermined",
    }
    if (section, under) in open_lists:
        chosen = [f for f in data.findings if open_lists[section, under](f)]
        return findings.finding_rows(chosen, headings, marks_advisory=True)
    if section == "Earlier packages":
        return route.earlier_rows(data, under.removeprefix("Package "))
    named: dict[tuple[str, str], Callable[[Attached], list[Row]]] = {
        ("", "What is submitted, with counts of required findings"): route.submitted_rows,
        ("Segments and sites", "Segments submitted, with the quantities that billing is told"): route.quantities_rows,
        ("Segments and sites", "Cable between them"): route.cables_rows,
        ("Cable as laid", ""): records.laid_rows,
        (
            "Segments and sites",
            f"Sites in order from A, design revision {data.about['design_revision']}",
        ): route.sites_rows,
        ("Where the joints lie", ""): route.spots_rows,
        ("Criteria as agreed", ""): findings.criteria_rows,
        ("Criteria as agreed", "Findings by criterion, segments submitted"): findings.counts_rows,
        ("Losses on no joint", ""): route.strays_rows,
        ("Losses on no joint", TOLD): route.told_rows,
        ("Concessions asked for", ""): findings.concessions_rows,
        ("Fibres by criterion", ""): findings.alike_rows,
        (
            "Fibres by criterion",
            "The same by criterion, by the worst of each fibre's findings",
        ): findings.by_criterion_rows,
        ("Workmanship", ""): findings.workmanship_rows,
        ("Instruments and calibrations", ""): records.instruments_rows,
        ("Instruments and calibrations", "Arc calibrations"): records.arcs_rows,
        ("Tests set aside and tests repeated", ""): records.set_aside_rows,
        ("Replaced, withdrawn and doubted records", ""): records.ended_rows,
        ("Records behind the findings", "Tests by fibre"): records.tests_of_fibres_rows,
        ("Records behind the findings", "Work by site"): records.work_at_sites_rows,
        ("Suspicions", ""): records.suspicions_rows,
    }
    return named[section, under](data) if (section, under) in named else None
