"""How single values of the attached JSON have to be printed, by nothing of the code that draws them."""

from collections.abc import Iterable
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import groupby
from typing import Any

Json = Any
Row = dict[str, str]
NONE = "\N{EN DASH}"
WORST_FIRST = ("nonconforming", "undetermined", "conforming")


def ranges(numbers: Iterable[int]) -> str:
    """Return rising numbers, those that follow each other as from and to."""
    runs = [[n for _, n in run] for _, run in groupby(enumerate(numbers), key=lambda one: one[1] - one[0])]
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


def centimetres(length_m: Decimal) -> str:
    return str(length_m.quantize(Decimal("0.01"), ROUND_HALF_EVEN))


def criterion_text(f: Json) -> str:
    return f"{f['criterion']}{' (advisory)' if f['force'] == 'advisory' else ''}"


def value_text(f: Json) -> str:
    if "value" in f:
        return str(f["value"])
    return f"{f['low']} to {f['high']}" if "low" in f else NONE


def least_text(f: Json) -> str:
    return f"{chr(0x2265) if f.get('limit_is') == 'least' else ''}{f.get('limit', NONE)}"


def reading_text(f: Json, direction: str) -> str:
    own = [one for one in f["readings"] if one.get("direction") == direction]
    texts = [one["value"] if "value" in one else f"±{one['within']}" for one in own if {"value", "within"} & {*one}]
    return " / ".join(texts) or NONE


def place_text(f: Json) -> str:
    side = f", {f['side'].replace('_', ' ')}" if "side" in f else ""
    if "site" in f:
        place = f"{f['site']}{side}" + (f", of {f['from_site']} to {f['to_site']}" if "from_site" in f else "")
    elif "section" in f:
        place = f"section {f['section']}"
    else:
        place = f"{f['from_site']} to {f['to_site']}" if "from_site" in f else NONE
    return place if "fibre" in f else f"{', '.join(f['segments'])}: {place}"


def decision_text(f: Json) -> str:
    guard = [f"guard band {f['uncertainty']}"] if "uncertainty" in f else []
    fallback = ["by fallback after documented attempts"] if f.get("by_fallback") else []
    return ", ".join([*([f["grade"]] if "grade" in f else []), *guard, *fallback])


def from_to(numbers: Json) -> str:
    return ranges(range(numbers["first"], numbers["last"] + 1))


def cable_m(section: Json) -> Decimal:
    return Decimal(section["cable_length_m"]) + Decimal(section["slack_m"])


def fibre_m(section: Json) -> Decimal:
    return cable_m(section) * (1 + Decimal(section["excess_percent"]) / 100)


def utc(text: str) -> str:
    return f"{text[:10]} {text[11:19]}"
