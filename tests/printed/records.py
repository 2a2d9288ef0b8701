"""What tables of records have to print by the attached JSON."""

from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from tests.printed.attached import Attached
from tests.printed.values import NONE, Json, Row, cable_m, centimetres, ranges, utc

UNITS = {"loss_db": "dB", "return_loss_db": "dB", "chromatic_ps_per_nm": "ps/nm", "pmd_ps": "ps"}
TESTS = {"otdr", "attenuation", "return_loss", "dispersion", "continuity", "end_face"}
WORK = {"splice", "termination", "cleaning", "closure_state", "cable_laying"}


def instruments_rows(data: Attached) -> list[Row]:
    used: dict[tuple[str, str, str], list[str]] = {}
    for entry in data.entries:
        if not entry["is_ended"]:
            for seen in instruments_of(entry["record"]):
                used.setdefault(seen, []).append(entry["record"]["made_at"])
    return [
        {"Instrument": role, "Serial": serial, "Calibrated until": until, "Records": str(len(made))}
        | {"First used": utc(min(made)), "Last used": utc(max(made))}
        for (role, serial, until), made in used.items()
    ]


def arcs_rows(data: Attached) -> list[Row]:
    airs = {
        "Temperature": "temperature_c",
        "Humidity": "humidity_percent",
        "Pressure": "pressure_hpa",
        "Altitude": "altitude_m",
    }
    return [
        {"Splicer": one["splicer_serial"], "Made": utc(one["made_at"]), "Fibre type": one["fibre_type"]}
        | {heading: one.get(name, NONE) for heading, name in airs.items()}
        for one in (entry["record"] for entry in data.entries if not entry["is_ended"])
        if one["kind"] == "arc_calibration"
    ]


def laid_rows(data: Attached) -> list[Row]:
    ends = [one["id"] for one in data.design["sites"]]
    rows = []
    for entry in data.entries:
        one = entry["record"]
        if entry["is_ended"] or one["kind"] != "cable_laying":
            continue
        [index] = [i for i, section in enumerate(data.design["sections"]) if section["id"] == one["section"]]
        marks = {mark["site"]: Decimal(mark["mark_m"]) for mark in one["sheath_marks"]}
        near, far = marks[ends[index]], marks[ends[index + 1]]
        designed = cable_m(data.design["sections"][index])
        rows.append(
            {
                "Section": one["section"],
                "Laid on": one["laid_on"],
                "Reel": one.get("reel", NONE),
                "From": ends[index],
                "Mark there": centimetres(near),
                "To": ends[index + 1],
                "Mark at the end": centimetres(far),
                "By marks": centimetres(abs(far - near)),
                "Designed, with slack": centimetres(designed),
                "Longer than designed": centimetres(abs(far - near) - designed),
                "By": one["operator"],
                "Record": _short_id(data, one),
            }
        )
    return rows


def set_aside_rows(data: Attached) -> list[Row]:
    void = {one["record"] for f in data.findings for one in f["void"]}
    tests = [one for one in data.records.values() if one["kind"] in TESTS and one["fibre"] in data.scope]
    often = Counter(map(subject, tests))
    listed = [o for o in data.records.values() if o["id"] in void or (o in tests and often[subject(o)] > 1)]
    return [
        {
            "Fibre": str(one.get("fibre", NONE)),
            "Test": _test(one),
            "From and to": ends(one),
            "Made": utc(one["made_at"]),
            "Result": result(one),
            "Record": _short_id(data, one),
        }
        for one in listed
    ]


def ended_rows(data: Attached) -> list[Row]:
    return [
        {"Made": utc(e["record"]["made_at"]), "Record": e["record"]["id"], "About": _about(data, e["record"])}
        | {"Why it is listed": _why(e)}
        for e in data.entries
        if e["is_ended"] or e["clock_is_flagged"]
    ]


def suspicions_rows(data: Attached) -> list[Row]:
    return [
        {"Fibres": ranges(sorted(one["fibres"])) or NONE, "What was seen": one["detail"]}
        | {"Chance in honest work": one["chance"] or NONE, "Records": named(one["records"])}
        for one in data.found["verdict"]["suspicions"]
        if not one["fibres"] or data.scope & {*one["fibres"]}
    ]


def tests_of_fibres_rows(data: Attached) -> list[Row]:
    return [
        {
            "Fibre": str(one["fibre"]),
            "Test": _test(one),
            "From and to": ends(one),
            "Made": utc(one["made_at"]),
            "Result": result(one),
            "Instruments": " / ".join(serial for _, serial, _ in instruments_of(one)) or NONE,
            "By": one["operator"],
            "Record": _short_id(data, one),
        }
        for one in _standing(data)
        if one["kind"] in TESTS
    ]


def work_at_sites_rows(data: Attached) -> list[Row]:
    return [
        {
            "Site or section": one.get("site", one.get("section")),
            "Work": _work(data, one),
            "Fibres": ranges(sorted(_own_fibres(data, one))) or NONE,
            "Made": utc(one["made_at"]),
            "Attempt": str(one.get("attempt", NONE)),
            "Splicer": _splicer(one),
            "By": one["operator"],
            "Record": _short_id(data, one),
        }
        for one in _standing(data)
        if one["kind"] in WORK
    ]


def _standing(data: Attached) -> Iterator[Json]:
    """Give the records that nothing ended, of those that are about a fibre submitted or a whole site."""
    for one in (entry["record"] for entry in data.entries if not entry["is_ended"]):
        about = _own_fibres(data, one)
        if not about or about & data.scope:
            yield one


def _own_fibres(data: Attached, record: Json) -> set[int]:
    joints = [] if record["id"] in data.spliced_elsewhere else record.get("joints", [])
    return {joint["fibre"] for joint in joints} | ({record["fibre"]} if "fibre" in record else set())


def _splicer(record: Json) -> str:
    numbered = f" no. {record['splicer_sequence']}" if "splicer_sequence" in record else ""
    return f"{record['splicer_serial']}{numbered}" if "splicer_serial" in record else NONE


def _why(entry: Json) -> str:
    reasons = [f"replaced or withdrawn: {entry.get('end_reason', 'no reason kept here')}"] * entry["is_ended"]
    if "annulment_reason" in entry:
        reasons.append(f"annulled by the engineer: {entry['annulment_reason']}")
    return "; ".join([*reasons, *["its clock was off when it arrived"] * entry["clock_is_flagged"]])


def _test(record: Json) -> str:
    name = "OTDR" if record["kind"] == "otdr" else record["kind"].replace("_", " ")
    wavelength = f" {record['wavelength_nm']} nm" if "wavelength_nm" in record else ""
    return f"{name}{wavelength}" + (f", {record['pulse_ns']} ns" if "pulse_ns" in record else "")


def _work(data: Attached, record: Json) -> str:
    if record["id"] in data.spliced_elsewhere:
        return "splice of another route"
    if record["kind"] == "closure_state":
        return _lid(record)
    where = ends(record).removeprefix(record["site"]) if record["kind"] == "cleaning" else ""
    return f"{record['kind'].replace('_', ' ')}{where}"


def _about(data: Attached, record: Json) -> str:
    match record["kind"]:
        case "splice" if record["id"] in data.spliced_elsewhere:
            return f"{record['site']}, another route's"
        case "splice":
            return f"{record['site']}, fibre {', '.join(str(joint['fibre']) for joint in record['joints'])}"
        case "closure_state":
            return f"{record['site']}, {_lid(record)}"
        case "cable_laying":
            return str(record["section"])
        case "arc_calibration":
            return f"splicer {record['splicer_serial']}" + (f" at {record['site']}" if "site" in record else "")
        case _:
            return f"{ends(record)}, fibre {record['fibre']}"


def _lid(record: Json) -> str:
    parts = []
    for one in record.get("opened_for", []):
        if "tray" in one:
            parts.append(f"tray {one['tray']}")
        else:
            numbers = sorted({one["first"], one["last"]})
            parts.append(f"{one['section']} fibre {' to '.join(map(str, numbers))}")
    return " for ".join([record["state"], *([", ".join(parts)] if parts else [])])


def _short_id(data: Attached, record: Json) -> str:
    return str(record["id"][: telling([*data.records])])


def named(records: Sequence[str]) -> str:
    return ", ".join(records) if len(records) <= 3 else f"{len(records)} records, named in the attached findings"


def instruments_of(record: Json) -> list[tuple[str, str, str]]:
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


def ends(record: Json) -> str:
    if "from_site" in record:
        return f"{record['from_site']} to {record['to_site']}"
    position = f", position {record['position']}" if "position" in record else ""
    return f"{record['site']}{position}{', ' + record['side'].replace('_', ' ') if 'side' in record else ''}"


def subject(record: Json) -> tuple[Any, ...]:
    return (
        record["fibre"],
        record["kind"],
        record.get("wavelength_nm"),
        record.get("pulse_ns"),
        ends(record),
    )


def result(record: Json) -> str:
    if record["kind"] == "continuity":
        return f"fibre {record['seen_fibre']} seen" if "seen_fibre" in record else "all dark"
    if "instrument_passed" in record:
        return "passed" if record["instrument_passed"] else "failed"
    sign = {"gt": "> ", "lt": "< "}.get(record.get("qualifier", ""), "")
    return sign + ", ".join(f"{record[name]} {unit}" for name, unit in UNITS.items() if name in record) or NONE


def telling(ids: Sequence[str]) -> int:
    return next(digits for digits in range(8, 37) if len({id_[:digits] for id_ in ids}) == len(ids))
