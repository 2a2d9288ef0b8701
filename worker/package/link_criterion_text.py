"""Criteria about fibres from end to end, and about workmanship, in words."""

from typing import Any

from service.vocabulary.words import Quantity
from worker.package.wording import count_text

_TESTS = {
    "otdr": "an OTDR trace",
    "attenuation": "an attenuation test by source and meter",
    "return_loss": "a return loss test",
}
_COMBINED = {"mean": "mean of both directions", "worse": "worse of both directions"}
_FAR_END = {"angled": "an angled connector", "absorbed": "the light absorbed", "open": "the far end open"}
_AT = {"closures": "in closures", "terminations": "at terminations", "everywhere": "everywhere"}


_TEMPLATES = {
    Quantity.ATTENUATION_COEFFICIENT: "the fibre's own loss at most {limit_db_per_km} dB/km in each {over} of at least "
    "{least_length_m} m, mean of both directions",
    Quantity.LENGTH: "fibre length of each span within {limit_percent} % of the design",
    Quantity.CONTINUITY: "the fibre lit at one end is the fibre seen at the other",
    Quantity.CHROMATIC_DISPERSION: "at most {limit_ps_per_nm} ps/nm, whatever its sign",
    Quantity.POLARIZATION_MODE_DISPERSION: "at most {limit_ps} ps",
}
_DEMANDS = {
    "cleave_angle": "cleave angle at most {limit_deg} degrees on both sides",
    "cleave_length": "cleave length from {least_mm} to {most_mm} mm",
    "proof_test": "proof test passed",
    "certificate": "the splicing person's certificate valid on the day",
    "fusion": "fusion splices only",
}


def link_criterion_text(entry: dict[str, Any]) -> str:
    """Return what a criterion about whole fibres holds."""
    match entry["quantity"]:
        case Quantity.REQUIRED_TEST:
            return f"{_TESTS[entry['test']]} in both directions"
        case Quantity.LINK_ATTENUATION:
            limit = _link_limit_text(entry["limit"])
            return f"{_COMBINED[entry['combination']]} at most {limit}; {_link_conditions_text(entry)}"
        case Quantity.RETURN_LOSS:
            far_end = f", with {_FAR_END[entry['far_end']]}" if "far_end" in entry else ""
            return f"{entry['basis']} at each end at least {entry['limit_db']} dB{far_end}"
        case quantity:
            return _TEMPLATES[quantity].format_map(entry)


def workmanship_text(entry: dict[str, Any]) -> str:
    """Return what a criterion demands of how each splice was made."""
    return f"{_demand_text(entry['demand'])}, {_AT[entry['at']]}"


def _link_limit_text(limit: dict[str, Any]) -> str:
    if limit["kind"] == "fixed":
        return f"{limit['limit_db']} dB"
    return (
        f"the budget: {limit['attenuation_db_per_km']} dB/km of fibre, {limit['splice_db']} dB a splice, "
        f"{limit['connection_db']} dB a connection that the reference includes, {limit['other_db']} dB other"
    )


def _link_conditions_text(entry: dict[str, Any]) -> str:
    cords = entry.get("reference_cords")
    asked = "any number of cords, the same both ways" if cords is None else count_text(cords, one="cord", many="cords")
    return (
        f"referenced with {asked}; a loss below {entry['least_attenuation_db_per_km']} dB/km of fibre by more than "
        f"its uncertainty of {entry['uncertainty_db']} dB is set aside"
    )


def _demand_text(demand: dict[str, Any]) -> str:
    match demand["aspect"]:
        case "calibrated_splicer":
            moved = " and again after a move" if demand["again_after_move"] else ""
            return f"the splicer's arc calibrated at most {demand['most_age_h']} h before{moved}"
        case "sleeve_length":
            return f"sleeve of {' or '.join(demand['allowed_mm'])} mm"
        case "attempts":
            return f"at most {count_text(demand['limit'], one='attempt', many='attempts')} at a joint"
        case "attempts_above_loss":
            return (
                f"at least {demand['least']} documented attempts where the mean of both directions at "
                f"{demand['wavelength_nm']} nm is above {demand['loss_db']} dB"
            )
        case aspect:
            return _DEMANDS[aspect].format_map(demand)
