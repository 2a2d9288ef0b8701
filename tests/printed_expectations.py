"""What the tables of a package have to print by its attached JSON, worked out by nothing of the code that draws them.

Each table is named by its section and what stands over it; its rows give, by column heading, what has to stand there.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import accumulate, groupby
from typing import Any

Json = Any
Row = dict[str, str]
NONE = "\N{EN DASH}"
WORST_FIRST = ("nonconforming", "undetermined", "conforming")
# Where findings about one quantity are listed, by the table's section and what stands over it.
FINDINGS_OF = {
    ("Statistics of joints", ""): "joint_statistic",
    ("End to end", ""): "link_attenuation",
    ("Joints", ""): "splice_loss",
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
    ("Continuity and dispersion", "Continuity"): "continuity",
    ("Continuity and dispersion", "Chromatic dispersion, whatever its sign"): "chromatic_dispersion",
    ("Continuity and dispersion", "Polarization mode dispersion"): "polarization_mode_dispersion",
}
FALLBACK = "Out of specification, and conforming only by fallback after documented attempts"
TOLD = "Ends of fibre, joints off their spot, and traces that fit something else"
UNITS = {"loss_db": "dB", "return_loss_db": "dB", "chromatic_ps_per_nm": "ps/nm", "pmd_ps": "ps"}
TESTS = {"otdr", "attenuation", "return_loss", "dispersion", "continuity", "end_face"}


def ranges(numbers: Iterable[int]) -> str:
    """Return rising numbers, those that follow each other as from and to."""
    runs = [[n for _, n in run] for _, run in groupby(enumerate(numbers), key=lambda one: one[1] - one[0])]
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


def centimetres(length_m: Decimal) -> str:
    return str(length_m.quantize(Decimal("0.01"), ROUND_HALF_EVEN))


class Expectations:
    """What one package has to print."""

    def __init__(self, files: Mapping[str, Json]) -> None:
        self.about, self.found = files["package.json"], files["findings.json"]
        self.design, self.criteria = files["design.json"], files["criteria.json"]
        self.entries = files["records.json"]["records"]
        self.records = {entry["record"]["id"]: entry["record"] for entry in self.entries}
        self.dark = set(self.found["verdict"].get("tolerated_dark", []))
        self.submitted = set(self.about["segments"])
        every = [
            *self.found["verdict"]["findings"],
            *(one for fibre in self.found["fibres"] for one in fibre["findings"]),
        ]
        self.findings = [f for f in every if f.get("fibre") not in self.dark and self.submitted & {*f["segments"]}]
        self.every_finding = every

    def rows(self, section: str, under: str, headings: Sequence[str]) -> list[Row] | None:
        """Return what a table has to print, `None` if nothing is known of such a table."""
        quantity = FINDINGS_OF.get((section, under))
        if quantity is not None:
            return self._finding_rows([f for f in self.findings if f["quantity"] == quantity], headings)
        open_lists: dict[tuple[str, str], Callable[[Json], bool]] = {
            ("What does not conform", ""): lambda f: f["outcome"] == "nonconforming",
            ("What does not conform", FALLBACK): lambda f: f.get("by_fallback", False),
            ("What is undetermined", ""): lambda f: f["outcome"] == "undetermined",
        }
        if (section, under) in open_lists:
            chosen = [f for f in self.findings if open_lists[section, under](f)]
            return self._finding_rows(chosen, headings, marks_advisory=True)
        named = {
            ("", "What is submitted, with counts of required findings"): self._submitted,
            ("Segments and sites", "Segments submitted, with the quantities that billing is told"): self._quantities,
            ("Segments and sites", "Cable between them"): self._cables,
            (
                "Segments and sites",
                f"Sites in order from A, design revision {self.about['design_revision']}",
            ): self._sites,
            ("Criteria as agreed", ""): self._criteria,
            ("Criteria as agreed", "Findings by criterion, segments submitted"): self._counts,
            ("Losses on no joint", ""): self._strays,
            ("Losses on no joint", TOLD): self._told,
            ("Concessions asked for", ""): self._concessions,
            ("Fibres by criterion", ""): self._alike,
            ("Fibres by criterion", "The same by criterion, by the worst of each fibre's findings"): self._by_criterion,
            ("Workmanship", ""): self._workmanship,
            ("Instruments and calibrations", ""): self._instruments,
            ("Instruments and calibrations", "Arc calibrations"): self._arcs,
            ("Tests set aside and tests repeated", ""): self._set_aside,
            ("Replaced, withdrawn and doubted records", ""): self._ended,
            ("Suspicions", ""): self._suspicions,
        }
        return named[section, under]() if (section, under) in named else None

    def _finding_rows(
        self, findings: Iterable[Json], headings: Sequence[str], *, marks_advisory: bool = False
    ) -> list[Row]:
        return [{one: _shown(f, one, headings, marks_advisory=marks_advisory) for one in headings} for f in findings]

    def _segments(self) -> list[Json]:
        return [one for id_ in self.about["segments"] for one in self.design["segments"] if one["id"] == id_]

    def _submitted(self) -> list[Row]:
        return [
            {
                "Segment": one["id"],
                "Billing item": one["billing_item"],
                "Fibres": ", ".join(_from_to(r) for r in one["fibres"]),
                "Cable": centimetres(sum((_cable_m(s) for s in self._sections(one)), Decimal(0))),
                **{w.capitalize(): str(self._came_to(one)["counts"][w]) for w in WORST_FIRST},
                "Outcome": self._came_to(one)["outcome"],
            }
            for one in self._segments()
        ]

    def _came_to(self, segment: Json) -> Json:
        return self.found["verdict"]["segments"][segment["id"]]

    def _sections(self, segment: Json) -> list[Json]:
        return [one for one in self.design["sections"] if one["id"] in segment["sections"]]

    def _quantities(self) -> list[Row]:
        rows = []
        for one in self._segments():
            fibres = [n for r in one["fibres"] for n in range(r["first"], r["last"] + 1) if n not in self.dark]
            splices, pairs = self._joints(one, fibres)
            rows.append(
                {
                    "Segment": one["id"],
                    "Name": one["name"],
                    "Billing item": one["billing_item"],
                    "Fibres": str(len(fibres)),
                    "Cable": centimetres(sum((_cable_m(s) for s in self._sections(one)), Decimal(0))),
                    "Fibre": centimetres(sum((_fibre_m(s) for s in self._sections(one)), Decimal(0)) * len(fibres)),
                    "Splices": str(splices),
                    "Terminations": str(pairs),
                }
            )
        return rows

    def _joints(self, segment: Json, fibres: Sequence[int]) -> tuple[int, int]:
        """Count splices and mated pairs by the splice plan; a pigtail's end has one of each."""
        splices = pairs = 0
        for site in (one for one in self.design["sites"] if one["id"] in segment["sites"]):
            for fibre in fibres:
                action = self._action(site["id"], fibre)
                if site["kind"] == "splice_closure":
                    splices += action == "spliced"
                else:
                    splices, pairs = splices + (site.get("termination") == "pigtail"), pairs + 1
        return splices, pairs

    def _action(self, site: str, fibre: int) -> str:
        for one in self.design["splice_plan"]:
            if one["site"] == site and one["fibres"]["first"] <= fibre <= one["fibres"]["last"]:
                return str(one["action"])
        return "spliced"

    def _cables(self) -> list[Row]:
        ends = [one["id"] for one in self.design["sites"]]
        return [
            {
                "Section": one["id"],
                "From": ends[index],
                "To": ends[index + 1],
                "Fibre type": one["fibre_type"],
                "Reel": one.get("reel", NONE),
                "Cable": one["cable_length_m"],
                "Slack": one["slack_m"],
                "Excess": one["excess_percent"],
            }
            for index, one in enumerate(self.design["sections"])
        ]

    def _sites(self) -> list[Row]:
        rows, from_a_m = [], Decimal(0)
        for site, section in zip(self.design["sites"], [*self.design["sections"], None], strict=True):
            [segment] = [one["id"] for one in self.design["segments"] if site["id"] in one["sites"]]
            kind = site["kind"].replace("_", " ")
            rows.append(
                {"Site": site["id"], "Name": site["name"], "Kind": kind, "Segment": segment}
                | {"Fibre from A": centimetres(from_a_m)}
            )
            from_a_m += Decimal(0) if section is None else _fibre_m(section)
        return rows

    def _criteria(self) -> list[Row]:
        return [
            {"Code": one["code"], "What is held": one["quantity"].replace("_", " ")}
            | {"Force": one["force"], "Clause": one.get("clause", NONE)}
            for one in self.criteria["criteria"]
        ]

    def _counts(self) -> list[Row]:
        counted = Counter((f["criterion"], f["outcome"]) for f in self.findings)
        return [
            {"Code": one["code"], **{w.capitalize(): str(counted[one["code"], w]) for w in WORST_FIRST}}
            for one in self.criteria["criteria"]
        ]

    def _strays(self) -> list[Row]:
        scope = {n for s in self._segments() for r in s["fibres"] for n in range(r["first"], r["last"] + 1)}
        return [
            {
                "Fibre": str(fibre["fibre"]),
                "From A": event["from_a_m"],
                "Lies": self._lies(Decimal(event["from_a_m"])),
                "Section": event.get("section", NONE),
                "From its start": event.get("cable_m", NONE),
                "Direction": {"a_to_b": "A to B", "b_to_a": "B to A"}[event["direction"]],
                "Wavelength": str(event["wavelength_nm"]),
                "Loss": event.get("loss_db", NONE),
                "Record": event["record"],
            }
            for fibre in self.found["fibres"]
            if fibre["fibre"] in scope
            for event in fibre["unexpected_events"]
        ]

    def _lies(self, from_a_m: Decimal) -> str:
        """Return between which sites a spot lies by the design; one at a site lies behind it."""
        offsets = list(accumulate(map(_fibre_m, self.design["sections"]), initial=Decimal(0)))
        ids = [site["id"] for site in self.design["sites"]]
        passed = sum(offset <= from_a_m for offset in offsets)
        if passed == 0:
            return f"before {ids[0]}"
        return f"beyond {ids[-1]}" if passed == len(ids) else f"{ids[passed - 1]} to {ids[passed]}"

    def _told(self) -> list[Row]:
        scope = {n for s in self._segments() for r in s["fibres"] for n in range(r["first"], r["last"] + 1)}
        return [
            {
                "Fibre": str(fibre["fibre"]),
                "From A": one.get("from_a_m", NONE),
                "Section": one.get("section", NONE),
                "From its start": one.get("cable_m", NONE),
            }
            for fibre in self.found["fibres"]
            if fibre["fibre"] in scope
            for kind in ("breaks", "short_traces", "off_spot", "unlike_traces")
            for one in fibre.get(kind, [])
        ]

    def _concessions(self) -> list[Row]:
        rows = []
        for number, asked in enumerate(self.about["concessions"], start=1):
            named = [asked.get(name) for name in ("criterion", "fibre", "site", "position")]
            own = [f for f in self.findings if [f.get(n) for n in ("criterion", "fibre", "site", "position")] == named]
            [needs] = [f for f in own if f["outcome"] != "conforming"] or own
            rows.append(
                {
                    "Number": str(number),
                    "Fibre": str(asked.get("fibre", "all")),
                    "Place": asked.get("site") or _place(needs),
                    "Position": str(asked.get("position", NONE)),
                    "Criterion": asked["criterion"],
                    "Value": _value(needs),
                    "Limit": _least(needs),
                    "Unit": needs.get("unit", NONE),
                    "Reason given": asked["reason"],
                }
            )
        return rows

    def _alike(self) -> list[Row]:
        alike: dict[tuple[str, ...], list[int]] = {}
        for fibre in sorted({f["fibre"] for f in self.findings if "fibre" in f}):
            own = [f for f in self.findings if f.get("fibre") == fibre]
            required = {f["outcome"] for f in own if f["force"] == "required"}
            worst = next((one for one in WORST_FIRST if one in required), "undetermined")
            alike.setdefault((worst, *(self._names(own, one) for one in WORST_FIRST[:2])), []).append(fibre)
        return [
            {"Fibres": ranges(fibres), "Outcome": worst, "Does not conform": failed, "Is undetermined": open_}
            for (worst, failed, open_), fibres in alike.items()
        ]

    def _names(self, findings: Iterable[Json], outcome: str) -> str:
        counts = Counter(_criterion(f) for f in findings if f["outcome"] == outcome)
        ordered = [c["code"] for c in self.criteria["criteria"]]
        names = sorted(counts, key=lambda name: ordered.index(name.partition(" ")[0]))
        return ", ".join(f"{n} ({counts[n]})" if counts[n] > 1 else n for n in names) or NONE

    def _by_criterion(self) -> list[Row]:
        worst: dict[tuple[str, int], str] = {}
        for f in self.findings:
            if "fibre" in f:
                key = _criterion(f), f["fibre"]
                worst[key] = min(f["outcome"], worst.get(key, f["outcome"]), key=WORST_FIRST.index)
        so: dict[tuple[str, str], list[int]] = {}
        for (name, fibre), outcome in worst.items():
            so.setdefault((name, outcome), []).append(fibre)
        return [{"Criterion": n, "Outcome": o, "Fibres": ranges(sorted(f))} for (n, o), f in so.items()]

    def _workmanship(self) -> list[Row]:
        groups: dict[tuple[str, str], list[Json]] = {}
        for f in self.findings:
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
                    "Limit": " / ".join(sorted({_least(f) for f in own if "limit" in f})) or NONE,
                    "Unit": next((f["unit"] for f in own if "unit" in f), NONE),
                    **{w.capitalize(): str(counts[w]) for w in WORST_FIRST},
                }
            )
        return rows

    def _instruments(self) -> list[Row]:
        used: dict[tuple[str, str, str], list[str]] = {}
        for entry in self.entries:
            if not entry["is_ended"]:
                for seen in _instruments(entry["record"]):
                    used.setdefault(seen, []).append(entry["record"]["made_at"])
        return [
            {"Instrument": role, "Serial": serial, "Calibrated until": until, "Records": str(len(made))}
            | {"First used": _utc(min(made)), "Last used": _utc(max(made))}
            for (role, serial, until), made in used.items()
        ]

    def _arcs(self) -> list[Row]:
        airs = {
            "Temperature": "temperature_c",
            "Humidity": "humidity_percent",
            "Pressure": "pressure_hpa",
            "Altitude": "altitude_m",
        }
        return [
            {"Splicer": one["splicer_serial"], "Made": _utc(one["made_at"]), "Fibre type": one["fibre_type"]}
            | {heading: one.get(name, NONE) for heading, name in airs.items()}
            for one in (entry["record"] for entry in self.entries if not entry["is_ended"])
            if one["kind"] == "arc_calibration"
        ]

    def _set_aside(self) -> list[Row]:
        void = {one["record"] for f in self.findings for one in f["void"]}
        scope = {n for s in self._segments() for r in s["fibres"] for n in range(r["first"], r["last"] + 1)}
        tests = [one for one in self.records.values() if one["kind"] in TESTS and one["fibre"] in scope]
        often = Counter(map(_subject, tests))
        listed = [o for o in self.records.values() if o["id"] in void or (o in tests and often[_subject(o)] > 1)]
        return [
            {
                "Fibre": str(one.get("fibre", NONE)),
                "From and to": _ends(one),
                "Made": _utc(one["made_at"]),
                "Result": _result(one),
                "Record": one["id"][: _telling([*self.records])],
            }
            for one in listed
        ]

    def _ended(self) -> list[Row]:
        return [
            {"Made": _utc(e["record"]["made_at"]), "Record": e["record"]["id"]}
            for e in self.entries
            if e["is_ended"] or e["clock_is_flagged"]
        ]

    def _suspicions(self) -> list[Row]:
        scope = {n for s in self._segments() for r in s["fibres"] for n in range(r["first"], r["last"] + 1)}
        return [
            {"Fibres": ranges(sorted(one["fibres"])) or NONE, "What was seen": one["detail"]}
            | {"Chance in honest work": one["chance"] or NONE, "Records": _named(one["records"])}
            for one in self.found["verdict"]["suspicions"]
            if not one["fibres"] or scope & {*one["fibres"]}
        ]


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
        "Criterion": lambda: _criterion(f) if marks_advisory else f["criterion"],
        "Joints": lambda: str(f.get("count", NONE)),
        "Position": lambda: str(f.get("position", NONE)),
        "Wavelength": lambda: str(f.get("wavelength_nm", NONE)),
        "A to B": lambda: _reading(f, "a_to_b"),
        "B to A": lambda: _reading(f, "b_to_a"),
        # Where a table has a column of units, its limits may be of either kind, and the least is marked.
        "Limit": lambda: _least(f) if "Unit" in headings else f.get("limit", NONE),
        "Least allowed": lambda: f.get("limit", NONE),
        "Margin": lambda: f.get("margin", NONE),
        "Unit": lambda: f.get("unit", NONE),
        "Outcome": lambda: f["outcome"],
        "Decision": lambda: _decision(f),
    }
    shown |= dict.fromkeys(("Value", "Mean or bounds", "Worse or bounds", "Difference"), lambda: _value(f))
    shown |= dict.fromkeys(("Site", "Place", "Ends", "At", "From and to", "Where", "Site and side"), lambda: _place(f))
    return shown[heading]() if heading in shown else str(reason)


def _criterion(f: Json) -> str:
    return f"{f['criterion']}{' (advisory)' if f['force'] == 'advisory' else ''}"


def _value(f: Json) -> str:
    if "value" in f:
        return str(f["value"])
    return f"{f['low']} to {f['high']}" if "low" in f else NONE


def _least(f: Json) -> str:
    return f"{chr(0x2265) if f.get('limit_is') == 'least' else ''}{f.get('limit', NONE)}"


def _reading(f: Json, direction: str) -> str:
    own = [one for one in f["readings"] if one.get("direction") == direction]
    texts = [one["value"] if "value" in one else f"±{one['within']}" for one in own if {"value", "within"} & {*one}]
    return " / ".join(texts) or NONE


def _place(f: Json) -> str:
    side = f", {f['side'].replace('_', ' ')}" if "side" in f else ""
    if "site" in f:
        place = f"{f['site']}{side}"
    elif "section" in f:
        place = f"section {f['section']}"
    else:
        place = f"{f['from_site']} to {f['to_site']}" if "from_site" in f else NONE
    return place if "fibre" in f else f"{', '.join(f['segments'])}: {place}"


def _decision(f: Json) -> str:
    guard = [f"guard band {f['uncertainty']}"] if "uncertainty" in f else []
    fallback = ["by fallback after documented attempts"] if f.get("by_fallback") else []
    return ", ".join([*([f["grade"]] if "grade" in f else []), *guard, *fallback])


def _from_to(numbers: Json) -> str:
    return ranges(range(numbers["first"], numbers["last"] + 1))


def _cable_m(section: Json) -> Decimal:
    return Decimal(section["cable_length_m"]) + Decimal(section["slack_m"])


def _fibre_m(section: Json) -> Decimal:
    return _cable_m(section) * (1 + Decimal(section["excess_percent"]) / 100)


def _utc(text: str) -> str:
    return f"{text[:10]} {text[11:19]}"


def _named(records: Sequence[str]) -> str:
    return ", ".join(records) if len(records) <= 3 else f"{len(records)} records, named in the attached findings"


def _instruments(record: Json) -> list[tuple[str, str, str]]:
    match record["kind"]:
        case "splice":
            return [("splicer", record["splicer_serial"], NONE)]
        case "termination":
            return [("splicer", record["splicer_serial"], NONE)] if "splicer_serial" in record else []
        case "otdr":
            return [("OTDR", record["instrument_serial"], record["calibrated_until"])]
        case "attenuation":
            roles = ("source", "meter")
            return [(role, record[role]["serial"], record[role]["calibrated_until"]) for role in roles]
        case "return_loss" | "dispersion" as kind:
            own = record["instrument"]
            return [(f"{kind.replace('_', ' ')} meter", own["serial"], own["calibrated_until"])]
        case _:
            return []


def _ends(record: Json) -> str:
    if "from_site" in record:
        return f"{record['from_site']} to {record['to_site']}"
    position = f", position {record['position']}" if "position" in record else ""
    return f"{record['site']}{position}{', ' + record['side'].replace('_', ' ') if 'side' in record else ''}"


def _subject(record: Json) -> tuple[Any, ...]:
    return (
        record["fibre"],
        record["kind"],
        record.get("wavelength_nm"),
        record.get("pulse_ns"),
        _ends(record),
    )


def _result(record: Json) -> str:
    if record["kind"] == "continuity":
        return f"fibre {record['seen_fibre']} seen" if "seen_fibre" in record else "all dark"
    sign = {"gt": "> ", "lt": "< "}.get(record.get("qualifier", ""), "")
    return sign + ", ".join(f"{record[name]} {unit}" for name, unit in UNITS.items() if name in record) or NONE


def _telling(ids: Sequence[str]) -> int:
    return next(digits for digits in range(8, 37) if len({id_[:digits] for id_ in ids}) == len(ids))
