"""Valid bodies as they are posted: a test changes the one field that matters.

The route is A, closure C1, closure C2, B with 1000 m of fibre between neighbours and pigtails at both ends. The work
days run in order: spliced on 3 March, sealed on 10 March, tested on 20 March 2025.
"""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import orjson

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import Criteria
from service.vocabulary.design.design import Design
from service.vocabulary.design.layout import UM_PER_M, Layout
from service.vocabulary.records.record import RECORD, canonical_record
from worker.judgement.history.evidence import Evidence

Body = dict[str, Any]

SPLICED_AT = "2025-03-03T08:00:00Z"
SEALED_AT = "2025-03-10T08:00:00Z"
TESTED_AT = "2025-03-20T08:00:00Z"
LAUNCH_M = 500.0
RECEIVE_M = 300.0


def make_site(id_: str, **changes: Any) -> Body:
    """Return a splice closure."""
    return {"id": id_, "name": f"Closure {id_}", "kind": "splice_closure", **changes}


def make_terminal(id_: str, **changes: Any) -> Body:
    """Return a terminal whose fibres end on pigtails."""
    return {"id": id_, "name": f"Terminal {id_}", "kind": "terminal", "termination": "pigtail", **changes}


def make_section(id_: str, **changes: Any) -> Body:
    """Return 1000 m of cable without excess."""
    return {"id": id_, "cable_length_m": 1000.0, "fibre_type": "G.652.D", **changes}


def make_design(*, closures: int = 2, **changes: Any) -> Body:
    """Return a route of 12 fibres with one segment."""
    names = [f"C{number}" for number in range(1, closures + 1)]
    sections = [make_section(f"S{number}") for number in range(1, closures + 2)]
    segment = {
        "id": "SEG1",
        "name": "Whole route",
        "billing_item": "ITEM-1",
        "sites": ["A", *names, "B"],
        "sections": [section["id"] for section in sections],
        "fibres": [{"first": 1, "last": 12}],
    }
    return {
        "code": "R1",
        "name": "Route one",
        "fibre_count": 12,
        "sites": [make_terminal("A"), *(make_site(name) for name in names), make_terminal("B")],
        "sections": sections,
        "segments": [segment],
        **changes,
    }


def splice_criterion(**changes: Any) -> Body:
    """Return a limit of 0.10 dB per splice at 1550 nm, with action limits."""
    return {
        "code": "SPLICE-1550",
        "quantity": "splice_loss",
        "wavelength_nm": 1550,
        "limit_db": 0.1,
        "estimate_action_limit_db": 0.05,
        "one_way_action_limit_db": 0.3,
        **changes,
    }


def termination_criterion(**changes: Any) -> Body:
    """Return a limit of 0.50 dB for a connection with the splice behind it, at 1550 nm."""
    return {
        "code": "TERM-1550",
        "quantity": "termination_loss",
        "wavelength_nm": 1550,
        "limit_db": 0.5,
        **changes,
    }


def link_criterion(**changes: Any) -> Body:
    """Return a budget for the whole link at 1550 nm."""
    limit = {"kind": "budget", "attenuation_db_per_km": 0.25, "splice_db": 0.1, "connection_db": 0.5}
    return {
        "code": "LINK-1550",
        "quantity": "link_attenuation",
        "wavelength_nm": 1550,
        "combination": "mean",
        "limit": limit,
        "least_attenuation_db_per_km": 0.16,
        **changes,
    }


def required_test_criterion(**changes: Any) -> Body:
    """Return the demand for traces from both ends at 1550 nm."""
    return {"code": "OTDR-1550", "quantity": "required_test", "test": "otdr", "wavelength_nm": 1550, **changes}


def make_criteria(**changes: Any) -> Body:
    """Return criteria with one of each quantity, all at 1550 nm."""
    criteria = [splice_criterion(), termination_criterion(), link_criterion(), required_test_criterion()]
    return {"title": "Agreed criteria", "criteria": criteria, **changes}


def layout_of(design: Body | None = None) -> Layout:
    """Return a posted design laid out."""
    return Layout(Design.model_validate(make_design() if design is None else design))


def criteria_of(criteria: Body | None = None) -> Criteria:
    """Return posted criteria as a value."""
    return Criteria.model_validate(make_criteria() if criteria is None else criteria)


def with_id(body: Body) -> Body:
    """Return a record with an id made from its content, unless it has one."""
    return {"id": str(uuid5(NAMESPACE_URL, canonical_json(body).decode())), **body}


def make_splice(*, site: str = "C1", fibres: Sequence[int] = (1,), estimate_db: float = 0.02, **changes: Any) -> Body:
    """Return a finished splice of one fibre, or of the fibres of a ribbon."""
    body = {
        "kind": "splice",
        "made_at": SPLICED_AT,
        "operator": "op-1",
        "device": "tablet-1",
        "site": site,
        "joints": [{"fibre": fibre, "estimate_db": estimate_db} for fibre in fibres],
        "splicer_serial": "SPL-1",
        "sleeve_shrunk": True,
        "proof_test_passed": True,
    }
    return with_id({**body, **changes})


def make_closure_state(*, site: str = "C1", state: str = "sealed", **changes: Any) -> Body:
    """Return a closure sealed on the sealing day."""
    body = {
        "kind": "closure_state",
        "made_at": SEALED_AT,
        "operator": "op-1",
        "device": "tablet-1",
        "site": site,
        "state": state,
    }
    return with_id({**body, **changes})


def make_cord(serial: str, length_m: float) -> Body:
    """Return a launch or receive cord."""
    return {"serial": serial, "length_m": length_m, "fibre_type": "G.652.D", "connector": "connector-x"}


def make_otdr(
    *,
    fibre: int = 1,
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
    layout = layout_of(design)
    is_forward = layout.site_index[from_site] < layout.site_index[to_site]
    near, far = ("CORD-A", "CORD-B") if is_forward else ("CORD-B", "CORD-A")
    lengths_m = {"CORD-A": LAUNCH_M, "CORD-B": RECEIVE_M}
    launch_m = lengths_m[near] if launch_m is None else launch_m
    receive_m = lengths_m[far] if receive_m is None else receive_m
    span_m = abs(_offset_m(layout, to_site) - _offset_m(layout, from_site))
    body = {
        "kind": "otdr",
        "made_at": TESTED_AT,
        "operator": "op-2",
        "device": "otdr-app-1",
        "fibre": fibre,
        "from_site": from_site,
        "to_site": to_site,
        "wavelength_nm": 1550,
        "pulse_ns": 30,
        "range_m": 10_000.0,
        "averaging_s": 30.0,
        "group_index": 1.468,
        "backscatter_db": -81.5,
        "loss_threshold_db": 0.02,
        "instrument_serial": "OTDR-1",
        "calibrated_until": "2025-12-31",
        "events": _events(
            layout, from_site, to_site, losses_db=losses_db or {}, launch_m=launch_m, receive_m=receive_m
        ),
        "length_m": round(span_m, 2),
        **({"launch_cord": make_cord(near, launch_m)} if launch_m else {}),
        **({"receive_cord": make_cord(far, receive_m)} if receive_m else {}),
    }
    return with_id({**body, **changes})


def _offset_m(layout: Layout, site: str) -> float:
    return layout.site_offsets_um[layout.site_index[site]] / UM_PER_M


def _events(
    layout: Layout,
    from_site: str,
    to_site: str,
    *,
    losses_db: Mapping[str, float | None],
    launch_m: float,
    receive_m: float,
) -> list[Body]:
    first, last = layout.site_index[from_site], layout.site_index[to_site]
    step = 1 if first < last else -1
    events: list[Body] = []
    distance_m = launch_m
    for index in range(first, last + step, step):
        site = layout.design.sites[index]
        distance_m = launch_m + abs(_offset_m(layout, site.id) - _offset_m(layout, from_site))
        is_end = index in {first, last}
        has_cord = bool(launch_m if index == first else receive_m) if is_end else True
        loss_db = losses_db.get(site.id, 0.3 if site.kind != "splice_closure" else 0.04)
        if has_cord and loss_db is not None:
            kind = "non_reflective" if site.kind == "splice_closure" else "reflective"
            events.append({"distance_m": round(distance_m, 2), "kind": kind, "loss_db": loss_db})
    return [*events, {"distance_m": round(distance_m + receive_m, 2), "kind": "end"}]


def make_attenuation(*, fibre: int = 1, from_site: str = "A", to_site: str = "B", **changes: Any) -> Body:
    """Return an end-to-end loss of 1.5 dB by source and meter, one-cord reference."""
    instrument = {"calibrated_until": "2025-12-31"}
    body = {
        "kind": "attenuation",
        "made_at": TESTED_AT,
        "operator": "op-2",
        "device": "meter-app-1",
        "fibre": fibre,
        "from_site": from_site,
        "to_site": to_site,
        "wavelength_nm": 1550,
        "loss_db": 1.5,
        "reference_cords": 1,
        "referenced_at": "2025-03-20T07:00:00Z",
        "source": {"serial": "LS-1", **instrument},
        "meter": {"serial": "PM-1", **instrument},
    }
    return with_id({**body, **changes})


def make_return_loss(*, fibre: int = 1, from_site: str = "A", to_site: str = "B", **changes: Any) -> Body:
    """Return 40 dB of return loss as seen at one end, the other one absorbed."""
    body = {
        "kind": "return_loss",
        "fibre": fibre,
        "from_site": from_site,
        "to_site": to_site,
        "wavelength_nm": 1550,
        "return_loss_db": 40.0,
        "method": "continuous_wave",
        "far_end": "absorbed",
        "instrument": {"serial": "RL-1", "calibrated_until": "2025-12-31"},
    }
    return _make_link_test(**{**body, **changes})


def make_dispersion(*, fibre: int = 1, from_site: str = "A", to_site: str = "B", **changes: Any) -> Body:
    """Return 52 ps/nm of chromatic dispersion and 0.1 ps of that of polarization modes."""
    body = {
        "kind": "dispersion",
        "fibre": fibre,
        "from_site": from_site,
        "to_site": to_site,
        "wavelength_nm": 1550,
        "chromatic_ps_per_nm": 52.0,
        "pmd_ps": 0.1,
        "instrument": {"serial": "DS-1", "calibrated_until": "2025-12-31"},
    }
    return _make_link_test(**{**body, **changes})


def make_continuity(
    *, fibre: int = 1, seen: int | None = 1, from_site: str = "A", to_site: str = "B", **changes: Any
) -> Body:
    """Return a fibre lit at one end and the number seen at the other; `None` where all stayed dark."""
    return _make_link_test(
        kind="continuity", fibre=fibre, from_site=from_site, to_site=to_site, seen_fibre=seen, **changes
    )


def make_calibration(**changes: Any) -> Body:
    """Return the arc calibrated an hour before the splices."""
    body = {
        "kind": "arc_calibration",
        "made_at": "2025-03-03T07:00:00Z",
        "operator": "op-1",
        "device": "tablet-1",
        "splicer_serial": "SPL-1",
        "fibre_type": "G.652.D",
        "passed": True,
    }
    return with_id({**body, **changes})


def make_termination(*, site: str = "A", fibre: int = 1, **changes: Any) -> Body:
    """Return a pigtail's connector given to a fibre on the splicing day."""
    body = {"kind": "termination", "how": "pigtail", "connector": "connector-x", "polish": "upc"}
    return _make_connection_act(site=site, fibre=fibre, **{**body, **changes})


def make_cleaning(*, site: str = "A", fibre: int = 1, side: str = "towards_b", **changes: Any) -> Body:
    """Return one side of a connection cleaned on the splicing day."""
    return _make_connection_act(kind="cleaning", site=site, fibre=fibre, side=side, **changes)


def make_end_face(*, site: str = "A", fibre: int = 1, side: str = "towards_b", **changes: Any) -> Body:
    """Return one side of a connection inspected just before the tests, all zones without a mark."""
    body = {
        "edition": 2015,
        "polish": "upc",
        "zones": [{"zone": zone} for zone in ("a", "b", "c", "d")],
        "made_at": "2025-03-20T07:00:00Z",
    }
    return _make_connection_act(kind="end_face", site=site, fibre=fibre, side=side, **{**body, **changes})


def _make_link_test(**content: Any) -> Body:
    return with_id({"made_at": TESTED_AT, "operator": "op-2", "device": "meter-app-1", **content})


def _make_connection_act(**content: Any) -> Body:
    return with_id({"made_at": SPLICED_AT, "operator": "op-1", "device": "tablet-1", **content})


def stored(record: Body, *, is_ended: bool = False, clock_is_flagged: bool = False) -> Evidence:
    """Return a posted record as the service keeps it."""
    body = orjson.loads(canonical_json(canonical_record(RECORD.validate_json(orjson.dumps(record)))))
    return Evidence(body=body, is_ended=is_ended, clock_is_flagged=clock_is_flagged)


def finished_fibre(*, fibre: int = 1, design: Body | None = None, wavelength_nm: int = 1550) -> list[Body]:
    """Return everything one fibre needs to conform: spliced, sealed, tested from both ends."""
    design = make_design() if design is None else design
    closures = [site["id"] for site in design["sites"] if site["kind"] == "splice_closure"]
    first, last = design["sites"][0]["id"], design["sites"][-1]["id"]
    ends: Body = {"wavelength_nm": wavelength_nm, "fibre": fibre}
    return [
        *(make_splice(site=site, fibres=[fibre]) for site in (first, *closures, last)),
        *(make_closure_state(site=site) for site in closures),
        make_otdr(from_site=first, to_site=last, design=design, **ends),
        make_otdr(from_site=last, to_site=first, design=design, **ends),
        make_attenuation(from_site=first, to_site=last, **ends),
        make_attenuation(from_site=last, to_site=first, **ends),
    ]
