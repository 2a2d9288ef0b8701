"""Records of every kind, each as a crew's application posts it, with an id made from its content."""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from tests.bodies import Body
from tests.bodies.routes import SITES, make_design, site_offsets_m

SPLICED_AT = "2025-03-03T08:00:00Z"
SEALED_AT = "2025-03-10T08:00:00Z"
TESTED_AT = "2025-03-20T08:00:00Z"
LAUNCH_M = 500.0
RECEIVE_M = 300.0
_CORDS_M = {"CORD-A": LAUNCH_M, "CORD-B": RECEIVE_M}
SCRATCHED: list[Body] = [
    {"zone": "a", "scratches": [{"size_um": 1.0, "count": 2}]},
    *({"zone": zone} for zone in "bcd"),
]
_BEFORE_TESTS = "2025-03-20T07:00:00Z"


def with_id(body: Body) -> Body:
    """Return a record with an id made from its content, unless it has one."""
    if "id" in body:
        return body
    content = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return {"id": str(uuid5(NAMESPACE_URL, content)), **body}


def make_splice(*, site: str = "C1", fibres: Sequence[int] = (1,), estimate_db: float = 0.02, **changes: Any) -> Body:
    """Return a finished splice of one fibre, or of the fibres of a ribbon."""
    body = {
        "site": site,
        "joints": [{"fibre": fibre, "estimate_db": estimate_db} for fibre in fibres],
        "splicer_serial": "SPL-1",
        "sleeve_shrunk": True,
        "proof_test_passed": True,
    }
    return _by_splicer("splice", **{**body, **changes})


def make_cable_laying(*, section: str = "S1", marks_m: Mapping[str, float] | None = None, **changes: Any) -> Body:
    """Return the usual route's first cable laid in February, 1003.5 m by its marks."""
    marks = {"A": 3120.5, "C1": 4124.0} if marks_m is None else marks_m
    body = {
        "section": section,
        "laid_on": "2025-02-11",
        "reel": "REEL-7",
        "sheath_marks": [{"site": site, "mark_m": mark_m} for site, mark_m in marks.items()],
        "made_at": "2025-02-11T15:00:00Z",
    }
    return _by_splicer("cable_laying", **{**body, **changes})


def make_calibration(**changes: Any) -> Body:
    """Return the arc calibrated an hour before the splices."""
    body = {"splicer_serial": "SPL-1", "fibre_type": "G.652.D", "passed": True, "made_at": "2025-03-03T07:00:00Z"}
    return _by_splicer("arc_calibration", **{**body, **changes})


def make_closure_state(*, site: str = "C1", state: str = "sealed", **changes: Any) -> Body:
    """Return a closure sealed on the sealing day."""
    return _by_splicer("closure_state", **{"made_at": SEALED_AT, "site": site, "state": state, **changes})


def make_termination(*, site: str = "A", fibre: int = 1, **changes: Any) -> Body:
    """Return a pigtail's connector given to a fibre on the splicing day."""
    body = {"how": "pigtail", "connector": "connector-x", "polish": "upc"}
    return _by_splicer("termination", site=site, fibre=fibre, **{**body, **changes})


def make_cleaning(*, site: str = "A", fibre: int = 1, side: str = "towards_b", **changes: Any) -> Body:
    """Return one side of a connection cleaned on the splicing day."""
    return _by_splicer("cleaning", site=site, fibre=fibre, side=side, **changes)


def make_end_face(*, site: str = "A", fibre: int = 1, side: str = "towards_b", **changes: Any) -> Body:
    """Return one side of a connection inspected just before the tests, all zones without a mark."""
    zones = [{"zone": zone} for zone in ("a", "b", "c", "d")]
    body = {"edition": 2015, "polish": "upc", "zones": zones, "made_at": _BEFORE_TESTS}
    return _by_splicer("end_face", site=site, fibre=fibre, side=side, **{**body, **changes})


def make_continuity(*, fibre: int = 1, seen: int | None = 1, **changes: Any) -> Body:
    """Return a fibre lit at one end and the number seen at the other; `None` where all stayed dark."""
    return _by_tester("continuity", fibre=fibre, seen_fibre=seen, **changes)


def make_attenuation(**changes: Any) -> Body:
    """Return an end-to-end loss of 1.5 dB by source and meter, one-cord reference."""
    body = {
        "wavelength_nm": 1550,
        "loss_db": 1.5,
        "reference_cords": 1,
        "referenced_at": _BEFORE_TESTS,
        "source": make_instrument("LS-1"),
        "meter": make_instrument("PM-1"),
    }
    return _by_tester("attenuation", **{**body, **changes})


def make_return_loss(**changes: Any) -> Body:
    """Return 40 dB of return loss as seen at one end, the other one absorbed."""
    body = {
        "wavelength_nm": 1550,
        "return_loss_db": 40.0,
        "method": "continuous_wave",
        "far_end": "absorbed",
        "instrument": make_instrument("RL-1"),
    }
    return _by_tester("return_loss", **{**body, **changes})


def make_dispersion(**changes: Any) -> Body:
    """Return 52 ps/nm of chromatic dispersion and 0.1 ps of that of polarization modes."""
    body = {"wavelength_nm": 1550, "chromatic_ps_per_nm": 52.0, "pmd_ps": 0.1, "instrument": make_instrument("DS-1")}
    return _by_tester("dispersion", **{**body, **changes})


def make_trace(*, events: Sequence[Body], **changes: Any) -> Body:
    """Return a trace of these events, without cords."""
    body = {
        "device": "otdr-app-1",
        "wavelength_nm": 1550,
        "pulse_ns": 30,
        "range_m": 10_000.0,
        "averaging_s": 30.0,
        "group_index": 1.468,
        "backscatter_db": -81.5,
        "loss_threshold_db": 0.02,
        "instrument_serial": "OTDR-1",
        "calibrated_until": "2025-12-31",
        "events": list(events),
    }
    return _by_tester("otdr", **{**body, **changes})


def make_otdr(
    *,
    from_site: str = "A",
    to_site: str = "B",
    losses_db: Mapping[str, float | None] | None = None,
    design: Body | None = None,
    launch_m: float | None = None,
    receive_m: float | None = None,
    **changes: Any,
) -> Body:
    """Return a trace between two sites of a design; 0.04 dB in each closure and 0.30 dB at each end.

    `losses_db` gives the loss at a site, or `None` where nothing is seen. The cord CORD-A stays at the end towards A
    and CORD-B at the end towards B; a length of 0 takes a cord away.
    """
    design = make_design() if design is None else design
    offsets_m = site_offsets_m(design)
    order = list(offsets_m)
    first, last = order.index(from_site), order.index(to_site)
    near, far = ("CORD-A", "CORD-B") if first < last else ("CORD-B", "CORD-A")
    launch_m = _CORDS_M[near] if launch_m is None else launch_m
    receive_m = _CORDS_M[far] if receive_m is None else receive_m
    span_m = abs(offsets_m[to_site] - offsets_m[from_site])
    events = [
        _event(site, launch_m + abs(offsets_m[site["id"]] - offsets_m[from_site]), losses_db or {})
        for site in (design["sites"][first : last + 1] if first < last else design["sites"][last : first + 1][::-1])
        # A connection at an end is seen through its cord alone.
        if {from_site: launch_m, to_site: receive_m}.get(site["id"], 1.0)
    ]
    end = {"distance_m": round(launch_m + span_m + receive_m, 2), "kind": "end"}
    body = {
        "from_site": from_site,
        "to_site": to_site,
        "events": [*filter(None, events), end],
        "length_m": round(span_m, 2),
        **({"launch_cord": make_cord(near, launch_m)} if launch_m else {}),
        **({"receive_cord": make_cord(far, receive_m)} if receive_m else {}),
    }
    return make_trace(**{**body, **changes})


def spliced(*, fibre: int = 1, **changes: Any) -> list[Body]:
    """Return a finished splice at every site of the usual route."""
    return [make_splice(site=site, fibres=[fibre], **changes) for site in SITES]


def sealed(*, sites: Sequence[str] = ("C1", "C2"), **changes: Any) -> list[Body]:
    """Return both closures of the usual route sealed, or those named."""
    return [make_closure_state(site=site, **changes) for site in sites]


def both_ways(*, design: Body | None = None, **changes: Any) -> list[Body]:
    """Return a trace from each end of the usual route, or of a design's, both changed alike."""
    first, *_, last = site_offsets_m(make_design() if design is None else design)
    return [
        make_otdr(from_site=near, to_site=far, design=design, **changes) for near, far in ((first, last), (last, first))
    ]


def finished_fibre(*, fibre: int = 1, design: Body | None = None, wavelength_nm: int = 1550) -> list[Body]:
    """Return everything one fibre needs to conform: spliced, sealed, tested from both ends."""
    design = make_design() if design is None else design
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    first, last = design["sites"][0]["id"], design["sites"][-1]["id"]
    ends: Body = {"wavelength_nm": wavelength_nm, "fibre": fibre}
    return [
        *(make_splice(site=site, fibres=[fibre]) for site in (first, *closures, last)),
        *(make_closure_state(site=site) for site in closures),
        *both_ways(design=design, **ends),
        make_attenuation(from_site=first, to_site=last, **ends),
        make_attenuation(from_site=last, to_site=first, **ends),
    ]


def with_events(trace: Body, change: Callable[[Body], Body | None], *, added: Sequence[Body] = ()) -> Body:
    """Return a trace whose events are changed one by one, with others added; `None` takes an event away."""
    changed = [event for event in map(change, trace["events"]) if event is not None]
    body = _without_id(trace)
    return with_id({**body, "events": sorted([*changed, *added], key=lambda event: event["distance_m"])})


def with_event_from_a(trace: Body, from_a_m: float, **event: Any) -> Body:
    """Return a trace with one more event so far from A, whichever end it was taken from."""
    along_m = from_a_m if trace["from_site"] == "A" else trace["length_m"] - from_a_m
    at_m = trace["launch_cord"]["length_m"] + along_m
    return with_events(trace, dict, added=[{"distance_m": at_m, "kind": "non_reflective", **event}])


def with_cords(trace: Body, *, longer_m: float) -> Body:
    """Return a trace whose cords were typed in longer than they are."""
    body = _without_id(trace)
    for name in ("launch_cord", "receive_cord"):
        body[name] = {**body[name], "length_m": body[name]["length_m"] + longer_m}
    return with_id(body)


def stretched(trace: Body, *, by: float) -> Body:
    """Return a trace whose group index was set wrong: every distance behind the launch cord is longer."""
    cord_m, receive_m = (trace.get(name, {"length_m": 0.0})["length_m"] for name in ("launch_cord", "receive_cord"))

    def longer(event: Body) -> Body:
        in_cord_m = receive_m if event["kind"] == "end" else 0.0
        along_m = event["distance_m"] - in_cord_m - cord_m
        return {**event, "distance_m": round(cord_m + along_m * by + in_cord_m, 2)}

    return with_events(trace, longer)


def set_to(trace: Body, index: float, *, glass: float = 1.468) -> Body:
    """Return a trace as an instrument that is set to an index shows fibre of another: cords are shown by it too."""

    def shown(event: Body) -> Body:
        return {**event, "distance_m": round(event["distance_m"] * glass / index, 2)}

    return with_events({**trace, "group_index": index}, shown)


def make_instrument(serial: str, **changes: Any) -> Body:
    """Return an instrument whose calibration outlasts the tests."""
    return {"serial": serial, "calibrated_until": "2025-12-31", **changes}


def make_cord(serial: str, length_m: float, connector: str = "connector-x") -> Body:
    """Return a launch or receive cord."""
    return {"serial": serial, "length_m": length_m, "fibre_type": "G.652.D", "connector": connector}


def _without_id(record: Body) -> Body:
    return {name: value for name, value in record.items() if name != "id"}


def _event(site: Body, distance_m: float, losses_db: Mapping[str, float | None]) -> Body | None:
    is_closure = site["kind"] == "splice_closure"
    loss_db = losses_db.get(site["id"], 0.04 if is_closure else 0.3)
    kind = "non_reflective" if is_closure else "reflective"
    return None if loss_db is None else {"distance_m": round(distance_m, 2), "kind": kind, "loss_db": loss_db}


def _by_splicer(kind: str, **content: Any) -> Body:
    return with_id({"kind": kind, "made_at": SPLICED_AT, "operator": "op-1", "device": "tablet-1", **content})


def _by_tester(kind: str, **content: Any) -> Body:
    who = {"made_at": TESTED_AT, "operator": "op-2", "device": "meter-app-1"}
    return with_id({"kind": kind, **who, "fibre": 1, "from_site": "A", "to_site": "B", **content})
