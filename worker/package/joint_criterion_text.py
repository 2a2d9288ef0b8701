"""Criteria about joints in words."""

from typing import Any

from service.vocabulary.words import Quantity

_BASIS = {
    "bidirectional": "mean of both directions",
    "one_way": "each one-way reading there is",
    "each_way": "the reading in each direction",
    "estimate": "the splicer's estimate",
}
_OF_JOINT = {"splice": "of each splice", "pair": "of each mated pair"}
_JOINTS = {"splice": "splices", "pair": "mated pairs"}
_OVER = {
    "fibre": "of each fibre",
    "span": "of each span of a fibre",
    "site": "of each site",
    "route": "of each segment",
}


_TEMPLATES = {
    Quantity.STRAY_LOSS: "loss where no joint stands at most {limit_db} dB",
    Quantity.BEND: "a bend where a place loses more than {limit_db} dB and {ratio} times as much at "
    "{long_wavelength_nm} nm as at {short_wavelength_nm} nm",
    Quantity.SPLICE_DENSITY: "at most {limit_per_km} splices a kilometre of span, terminations not counted",
    Quantity.END_FACE: "both end faces of each mated pair keep the zones of IEC 61300-3-35:{edition}",
}


def joint_criterion_text(entry: dict[str, Any]) -> str:
    """Return what a criterion about joints holds."""
    match entry["quantity"]:
        case Quantity.REFLECTANCE:
            return f"reflectance {_OF_JOINT[entry['joint']]}, the worse direction, at most {entry['limit_db']} dB"
        case Quantity.JOINT_STATISTIC:
            return _statistic_text(entry)
        case quantity if quantity in _TEMPLATES:
            return _TEMPLATES[quantity].format_map(entry)
        case _:
            return f"{_loss_text(entry)}{_fallback_text(entry)}{_action_limits_text(entry)}"


def _loss_text(entry: dict[str, Any]) -> str:
    return f"{_BASIS[entry.get('basis', 'bidirectional')]} at most {entry['limit_db']} dB"


def _fallback_text(entry: dict[str, Any]) -> str:
    if "fallback" not in entry:
        return ""
    fallback = entry["fallback"]
    return (
        f"; after {fallback['attempts']} documented attempts at most {fallback['limit_db']} dB, listed as out of "
        "specification"
    )


def _action_limits_text(entry: dict[str, Any]) -> str:
    named = (("estimate_action_limit_db", "estimate"), ("one_way_action_limit_db", "one way"))
    texts = [f"{name} {entry[member]} dB" for member, name in named if member in entry]
    return f"; while the closure is open: {', '.join(texts)}" if texts else ""


def _statistic_text(entry: dict[str, Any]) -> str:
    basis, joints, over = _BASIS[entry["basis"]], _JOINTS[entry["joint"]], _OVER[entry["over"]]
    if entry["statistic"] == "mean":
        return f"the average over the {joints} {over} ({basis}) at most {entry['limit_db']} dB"
    return f"at least {entry['least_share_percent']} % of the {joints} {over} ({basis}) within {entry['limit_db']} dB"
