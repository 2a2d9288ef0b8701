"""What tables of findings have to print by the attached JSON."""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal

from tests.printed.attached import Attached
from tests.printed.values import (
    NONE,
    WORST_FIRST,
    Json,
    Row,
    criterion_text,
    decision_text,
    least_text,
    place_text,
    ranges,
    reading_text,
    value_text,
)


def finding_rows(findings: Iterable[Json], headings: Sequence[str], *, marks_advisory: bool = False) -> list[Row]:
    return [{one: _shown(f, one, headings, marks_advisory=marks_advisory) for one in headings} for f in findings]


def criteria_rows(data: Attached) -> list[Row]:
    return [
        {"Code": one["code"], "What is held": one["quantity"].replace("_", " ")}
        | {"Force": one["force"], "Clause": one.get("clause", NONE)}
        for one in data.criteria["criteria"]
    ]


def counts_rows(data: Attached) -> list[Row]:
    counted = Counter((f["criterion"], f["outcome"]) for f in data.findings)
    return [
        {"Code": one["code"], **{w.capitalize(): str(counted[one["code"], w]) for w in WORST_FIRST}}
        for one in data.criteria["criteria"]
    ]


def concessions_rows(data: Attached) -> list[Row]:
    rows = []
    for number, asked in enumerate(data.about["concessions"], start=1):
        named = [asked.get(name) for name in ("criterion", "fibre", "site", "position")]
        own = [f for f in data.findings if [f.get(n) for n in ("criterion", "fibre", "site", "position")] == named]
        closer = ("side", "section", "from_site", "to_site")
        own = [f for f in own if all(asked.get(name) in {None, f.get(name)} for name in closer)]
        [needs] = [f for f in own if f["outcome"] != "conforming"] or own
        rows.append(
            {
                "Number": str(number),
                "Fibre": str(asked.get("fibre", "all")),
                "Place": place_text({"fibre": 0, **asked}) if {"site", *closer} & set(asked) else place_text(needs),
                "Position": str(asked.get("position", NONE)),
                "Criterion": asked["criterion"],
                "Value": value_text(needs),
                "Limit": least_text(needs),
                "Unit": needs.get("unit", NONE),
                "Reason given": asked["reason"],
            }
        )
    return rows


def alike_rows(data: Attached) -> list[Row]:
    alike: dict[tuple[str, ...], list[int]] = {}
    for fibre in sorted({f["fibre"] for f in data.findings if "fibre" in f}):
        own = [f for f in data.findings if f.get("fibre") == fibre]
        required = {f["outcome"] for f in own if f["force"] == "required"}
        worst = next((one for one in WORST_FIRST if one in required), "undetermined")
        alike.setdefault((worst, *(_names(data, own, one) for one in WORST_FIRST[:2])), []).append(fibre)
    return [
        {"Fibres": ranges(fibres), "Outcome": worst, "Does not conform": failed, "Is undetermined": open_}
        for (worst, failed, open_), fibres in alike.items()
    ]


def _names(data: Attached, findings: Iterable[Json], outcome: str) -> str:
    counts = Counter(criterion_text(f) for f in findings if f["outcome"] == outcome)
    ordered = [c["code"] for c in data.criteria["criteria"]]
    names = sorted(counts, key=lambda name: ordered.index(name.partition(" ")[0]))
    return ", ".join(f"{n} ({counts[n]})" if counts[n] > 1 else n for n in names) or NONE


def by_criterion_rows(data: Attached) -> list[Row]:
    worst: dict[tuple[str, int], str] = {}
    for f in data.findings:
        if "fibre" in f:
            key = criterion_text(f), f["fibre"]
            worst[key] = min(f["outcome"], worst.get(key, f["outcome"]), key=WORST_FIRST.index)
    so: dict[tuple[str, str], list[int]] = {}
    for (name, fibre), outcome in worst.items():
        so.setdefault((name, outcome), []).append(fibre)
    return [{"Criterion": n, "Outcome": o, "Fibres": ranges(sorted(f))} for (n, o), f in so.items()]


def workmanship_rows(data: Attached) -> list[Row]:
    groups: dict[tuple[str, str], list[Json]] = {}
    for f in data.findings:
        if f["quantity"] == "workmanship":
            groups.setdefault((f["site"], f["criterion"]), []).append(f)
    rows = []
    for (site, criterion), own in groups.items():
        values = sorted({f["value"] for f in own if "value" in f}, key=Decimal)
        counts = Counter(f["outcome"] for f in own)
        rows.append(
            {
                "Site": site,
                "Criterion": criterion,
                "Values": " to ".join(dict.fromkeys([values[0], values[-1]])) if values else NONE,
                "Limit": " / ".join(sorted({least_text(f) for f in own if "limit" in f})) or NONE,
                "Unit": next((f["unit"] for f in own if "unit" in f), NONE),
                **{w.capitalize(): str(counts[w]) for w in WORST_FIRST},
            }
        )
    return rows


def numbers_of_criterion(criterion: Json) -> set[str]:
    """Return every number that a criterion's JSON holds."""
    match criterion:
        case dict():
            own = (value for name, value in criterion.items() if name not in {"code", "clause"})
            return set().union(*map(numbers_of_criterion, own))
        case list():
            return set().union(*map(numbers_of_criterion, criterion))
        case bool():
            return set()
        case int():
            return {str(criterion)}
        case str() if re.fullmatch(r"-?\d+(\.\d+)?", criterion):
            return {criterion}
        case _:
            return set()


def _shown(f: Json, heading: str, headings: Sequence[str], *, marks_advisory: bool) -> str:
    reason = f["detail"] or f.get("reason", NONE).replace("_", " ")
    shown: dict[str, Callable[[], str]] = {
        "Fibre": lambda: str(f.get("fibre", "all")),
        "Segment": lambda: ", ".join(f["segments"]),
        "Criterion": lambda: criterion_text(f) if marks_advisory else f["criterion"],
        "Joints": lambda: str(f.get("count", NONE)),
        "Position": lambda: str(f.get("position", NONE)),
        "Wavelength": lambda: str(f.get("wavelength_nm", NONE)),
        "A to B": lambda: reading_text(f, "a_to_b"),
        "B to A": lambda: reading_text(f, "b_to_a"),
        # Where a table has a column of units, its limits may be of either kind, and the least is marked.
        "Limit": lambda: least_text(f) if "Unit" in headings else f.get("limit", NONE),
        "Least allowed": lambda: f.get("limit", NONE),
        "Margin": lambda: f.get("margin", NONE),
        "Unit": lambda: f.get("unit", NONE),
        "Outcome": lambda: f["outcome"],
        "Decision": lambda: decision_text(f),
    }
    shown |= dict.fromkeys(("Value", "Value or bounds", "Worse or bounds", "Difference"), lambda: value_text(f))
    shown |= dict.fromkeys(
        ("Site", "Place", "Ends", "At", "From and to", "Where", "Site and side"), lambda: place_text(f)
    )
    return shown[heading]() if heading in shown else str(reason)
