"""What tables about the route, and what lies along it, have to print by the attached JSON."""

from collections.abc import Iterator, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import accumulate

from tests.printed.attached import Attached
from tests.printed.values import NONE, WORST_FIRST, Json, Row, cable_m, centimetres, fibre_m, from_to, ranges


def submitted_rows(data: Attached) -> list[Row]:
    return [
        {
            "Segment": one["id"],
            "Billing item": one["billing_item"],
            "Fibres": ", ".join(from_to(r) for r in one["fibres"]),
            "Cable": centimetres(sum((cable_m(s) for s in _sections(data, one)), Decimal(0))),
            **{w.capitalize(): str(_came_to(data, one)["counts"][w]) for w in WORST_FIRST},
            "Outcome": _came_to(data, one)["outcome"],
        }
        for one in data.chosen_segments()
    ]


def earlier_rows(data: Attached, number: str) -> list[Row]:
    [earlier] = [one for one in data.about["supersedes"] if one["number"] == number]
    deemed = "deemed " if earlier["is_deemed"] else ""
    return [
        {
            "Segment": id_,
            "Word on it there": "not decided" if one["word"] is None else deemed + one["word"],
            "What stands now": _stands_now(one, own=data.about["number"]),
        }
        for id_, one in sorted(earlier["segments"].items(), key=lambda item: (_place(data, item[0]), item[0]))
    ]


def _place(data: Attached, id_: str) -> int:
    ids = [one["id"] for one in data.design["segments"]]
    return ids.index(id_) if id_ in ids else len(ids)


def _stands_now(one: Json, *, own: str) -> str:
    if one["now"] == "superseded":
        by = one["superseded_by"]
        return "superseded by this package" if by == own else f"superseded by package {by}"
    return "it stands" if one["now"] == "stands" else f"withdrawn: {one.get('reason', NONE)}"


def _came_to(data: Attached, segment: Json) -> Json:
    return data.found["verdict"]["segments"][segment["id"]]


def _sections(data: Attached, segment: Json) -> list[Json]:
    return [one for one in data.design["sections"] if one["id"] in segment["sections"]]


def quantities_rows(data: Attached) -> list[Row]:
    rows = []
    for one in data.chosen_segments():
        fibres = [n for r in one["fibres"] for n in range(r["first"], r["last"] + 1) if n not in data.dark]
        splices, pairs = _joints(data, one, fibres)
        rows.append(
            {
                "Segment": one["id"],
                "Name": one["name"],
                "Billing item": one["billing_item"],
                "Fibres": str(len(fibres)),
                "Cable": centimetres(sum((cable_m(s) for s in _sections(data, one)), Decimal(0))),
                "Fibre": centimetres(sum((fibre_m(s) for s in _sections(data, one)), Decimal(0)) * len(fibres)),
                "Splices": str(splices),
                "Terminations": str(pairs),
            }
        )
    return rows


def _joints(data: Attached, segment: Json, fibres: Sequence[int]) -> tuple[int, int]:
    """Count splices and mated pairs by the splice plan; a pigtail's end has one of each."""
    splices = pairs = 0
    for site in (one for one in data.design["sites"] if one["id"] in segment["sites"]):
        for fibre in fibres:
            action = data.action(site["id"], fibre)
            if site in (data.design["sites"][0], data.design["sites"][-1]) and site["kind"] != "terminal":
                continue
            if site["kind"] == "splice_closure":
                splices += action == "spliced"
            else:
                splices, pairs = splices + (site.get("termination") == "pigtail"), pairs + 1
    return splices, pairs


def cables_rows(data: Attached) -> list[Row]:
    ends, taken = [one["id"] for one in data.design["sites"]], _taken(data.design)
    return [
        {
            "Section": one["id"],
            "Segment": next((s["id"] for s in data.design["segments"] if one["id"] in s["sections"]), NONE),
            "From": ends[index],
            "To": ends[index + 1],
            "Cable fibres": ranges(sorted(taken[index]))
            + (f" of {one['fibre_count']}" if "fibre_count" in one else ""),
            "Fibre type": one["fibre_type"],
            "Reel": one.get("reel", NONE),
            "Cable": one["cable_length_m"],
            "Slack": one["slack_m"],
            "Excess": one["excess_percent"],
        }
        for index, one in enumerate(data.design["sections"])
    ]


def sites_rows(data: Attached) -> list[Row]:
    rows, from_a_m = [], Decimal(0)
    for site, section in zip(data.design["sites"], [*data.design["sections"], None], strict=True):
        [segment] = [one["id"] for one in data.design["segments"] if site["id"] in one["sites"]]
        kind = ", ".join([site["kind"].replace("_", " "), *_spliced(data, site)])
        rows.append(
            {"Site": site["id"], "Name": site["name"], "Kind": kind, "Segment": segment}
            | {"Trays, each with its splices": _trays(site), "Fibre from A": centimetres(from_a_m)}
        )
        from_a_m += Decimal(0) if section is None else fibre_m(section)
    return rows


def spots_rows(data: Attached) -> list[Row]:
    offsets = list(accumulate(map(fibre_m, data.design["sections"]), initial=Decimal(0)))
    listed = list(zip(data.design["sites"], offsets, strict=True))[1:-1]
    return [_spot_row(data, site["id"], designed_m) for site, designed_m in listed]


def _spot_row(data: Attached, site: str, designed_m: Decimal) -> Row:
    """Return what all groups of fibres say of a site, where each is listed with its own columns."""
    every = range(1, data.design["fibre_count"] + 1)
    joined = [fibre for fibre in every if data.action(site, fibre) in {"spliced", "terminated"}]
    groups = [(one, one["sites"].index(site)) for one in data.found["verdict"]["spots"] if site in one["sites"]]
    located = {n for one, _ in groups for r in one["fibres"] for n in range(r["first"], r["last"] + 1)}
    columns = {name: [one[name][at] for one, at in groups] for name in ("from_a_m", "within_m", "seen_on")}
    off = [int((Decimal(m) - designed_m).quantize(Decimal(1), ROUND_HALF_EVEN)) for m in columns["from_a_m"]]
    return {
        "Site": site,
        "As designed": centimetres(designed_m),
        "By the fibres": _least_to_greatest(columns["from_a_m"], "d"),
        "Off by": _least_to_greatest(off, "+d").replace("+0", "0"),
        "Within": _least_to_greatest(columns["within_m"], "d"),
        "Fibres joined": str(len(joined)),
        "Show it": str(sum(columns["seen_on"])) if groups else NONE,
        "Fibres not located": ranges(n for n in joined if n not in located) or NONE,
    }


def _least_to_greatest(numbers: Sequence[int], form: str) -> str:
    return " to ".join(format(n, form) for n in sorted({min(numbers), max(numbers)})) if numbers else NONE


def _taken(design: Json) -> list[set[int]]:
    """Follow each fibre from A: by the plan it goes on elsewhere, by the section in order, else under its number."""
    taken: list[set[int]] = [set() for _ in design["sections"]]
    for fibre in range(1, design["fibre_count"] + 1):
        number = fibre
        for index, section in enumerate(design["sections"]):
            number = section.get("first_cable_fibre", number - fibre + 1) + fibre - 1
            for one in design["splice_plan"]:
                is_here = one["site"] == design["sites"][index]["id"]
                if is_here and one["fibres"]["first"] <= fibre <= one["fibres"]["last"] and "to_cable_fibre" in one:
                    number = one["to_cable_fibre"] + fibre - one["fibres"]["first"]
            taken[index].add(number)
    return taken


def _spliced(data: Attached, site: Json) -> Iterator[str]:
    if "pigtail_fibre_type" in site:
        yield f"pigtails of {site['pigtail_fibre_type']}"
    plan = [one for one in data.design["splice_plan"] if one["site"] == site["id"] and one.get("splicing") == "ribbon"]
    if plan:
        yield f"by ribbons: {', '.join(from_to(one['fibres']) for one in plan)}"


def _trays(site: Json) -> str:
    capacities = {one["number"]: one["capacity"] for one in sorted(site["trays"], key=lambda one: one["number"])}
    alike = {held: [n for n in capacities if capacities[n] == held] for held in capacities.values()}
    return "; ".join(f"{ranges(own)} of {held}" for held, own in alike.items()) or NONE


def strays_rows(data: Attached) -> list[Row]:
    return [
        {
            "Fibre": str(fibre["fibre"]),
            "From A": event["from_a_m"],
            "Lies": _lies(data, Decimal(event["from_a_m"])),
            "Section": event.get("section", NONE),
            "From its start": event.get("cable_m", NONE),
            "Direction": {"a_to_b": "A to B", "b_to_a": "B to A"}[event["direction"]],
            "Wavelength": str(event["wavelength_nm"]),
            "Loss": event.get("loss_db", NONE),
            "Record": event["record"],
        }
        for fibre in data.found["fibres"]
        if fibre["fibre"] in data.scope
        for event in fibre["unexpected_events"]
    ]


def _lies(data: Attached, from_a_m: Decimal) -> str:
    """Return between which sites a spot lies by the design; one at a site lies behind it."""
    offsets = list(accumulate(map(fibre_m, data.design["sections"]), initial=Decimal(0)))
    ids = [site["id"] for site in data.design["sites"]]
    passed = sum(offset <= from_a_m for offset in offsets)
    if passed == 0:
        return f"before {ids[0]}"
    return f"beyond {ids[-1]}" if passed == len(ids) else f"{ids[passed - 1]} to {ids[passed]}"


def told_rows(data: Attached) -> list[Row]:
    return [
        {
            "Fibre": str(fibre["fibre"]),
            "From A": one.get("from_a_m", NONE),
            "Section": one.get("section", NONE),
            "From its start": one.get("cable_m", NONE),
        }
        for fibre in data.found["fibres"]
        if fibre["fibre"] in data.scope
        for kind in ("breaks", "short_traces", "unlike_traces")
        for one in fibre.get(kind, [])
    ]
