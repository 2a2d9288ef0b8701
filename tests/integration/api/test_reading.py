"""Reading: an ETag names one state, a walk through pages meets each row once, and billing sees no people, no places."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import httpx
import pytest
from sqlmodel import Session

from service.actions.acceptance.status import status_of
from service.api.cursors import write_cursor
from service.storage.jobs import claim_hints
from service.storage.session import transaction
from service.storage.tables import Route
from service.vocabulary.words import TokenKind
from tests.integration.api.acts import decide, newest_package, records_path, refusal, submit
from tests.integration.api.conftest import OpenWorld
from tests.world import World, read_demo
from worker.jobs.runner import run_job
from worker.tasks import STEPS

CREW, CONTRACTOR, ENGINEER, BILLING, ADMINISTRATOR = TokenKind


@pytest.fixture(scope="module")
def judged(open_world: OpenWorld) -> World:
    return open_world("judged")


@pytest.fixture(scope="module")
def decided(open_world: OpenWorld) -> World:
    return open_world("decided")


def look(world: World, *, etag: str | None = None) -> httpx.Response:
    headers = {} if etag is None else {"If-None-Match": etag}
    return world.call(CREW, "GET", f"/v1/routes/{world.route_id}/acceptance", headers=headers)


def test_a_matching_etag_is_answered_without_a_body(judged: World) -> None:
    etag = look(judged).headers["etag"]
    assert etag.startswith('"')
    for known in (etag, f'"r0", {etag}', f"W/{etag}", "*"):
        answer = look(judged, etag=known)
        assert (answer.status_code, answer.content, answer.headers["etag"]) == (304, b"", etag)
        assert answer.headers["cache-control"] == "private, no-cache"
    assert look(judged, etag='"r0"').status_code == 200


def test_whatever_changes_what_is_shown_changes_the_etag(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    shown: dict[str, bytes] = {}

    def check() -> None:
        answer = look(world)
        assert shown.setdefault(answer.headers["etag"], answer.content) == answer.content

    def work() -> None:
        check()
        while job := _take_a_hint(world):
            run_job(world.context, STEPS[job[1]], job[0])
            check()

    acts: list[Callable[[], Any]] = [
        lambda: world.post_records(read_demo("06_repair")["records"]),
        lambda: world.post_records(read_demo("07_retest")["records"]),
        lambda: submit(world, concessions=[]),
        lambda: decide(world),
    ]
    for act in acts:
        act()
        work()
    assert len(shown) >= 10


def _take_a_hint(world: World) -> Any:
    with transaction(world.engine) as session:
        hints = claim_hints(session, again_after=world.again_after, limit=1)
    return hints[0] if hints else None


def test_the_parts_of_a_status_are_of_one_moment(fresh_world: OpenWorld, monkeypatch: pytest.MonkeyPatch) -> None:
    world = fresh_world("judged")
    before = look(world).json()

    def change_first(session: Session, route: Route) -> dict[str, Any]:
        world.post_records([{**read_demo("06_repair")["records"][0], "id": str(uuid4())}])
        return status_of(session, route)

    monkeypatch.setattr("service.api.acceptance.status.status_of", change_first)
    assert look(world).json() == before


@pytest.mark.parametrize(("path", "limit"), [("findings", 5), ("records", 37)])
def test_a_walk_meets_what_was_there_once_while_more_comes_in(fresh_world: OpenWorld, path: str, limit: int) -> None:
    world = fresh_world("judged")
    splice = read_demo("02_re_splices")["records"][0]
    path = f"/v1/routes/{world.route_id}/{path}?limit=%d"
    there = _keys(world.call(CONTRACTOR, "GET", path % 500).json()["items"])
    met: list[str] = []
    at = path % limit
    while at:
        answer = world.call(CONTRACTOR, "GET", at)
        met += _keys(answer.json()["items"])
        at = answer.links.get("next", {}).get("url", "")
        assert (answer.json()["next"] is None) == (at == "")
        assert at.endswith(f"cursor={answer.json()['next']}" if at else "")
        world.post_records([{**splice, "id": str(uuid4())}])
    assert len(met) == len(set(met))
    assert [key for key in met if key in set(there)] == there


def _keys(items: list[Any]) -> list[str]:
    names = ("id", "criterion", "fibre", "site", "position")
    return ["/".join(str(item.get(name)) for name in names) for item in items]


def test_a_filter_holds_on_every_page(judged: World) -> None:
    at = f"/v1/routes/{judged.route_id}/findings?limit=5&outcome=conforming&segment=east"
    pages = 0
    while at:
        answer = judged.call(ENGINEER, "GET", at)
        items = answer.json()["items"]
        assert {item["outcome"] for item in items} == {"conforming"}
        assert all("east" in item["segments"] for item in items)
        at, pages = answer.links.get("next", {}).get("url", ""), pages + 1
    assert pages == 5


def test_a_cursor_fits_only_the_list_it_came_from(judged: World) -> None:
    route = f"/v1/routes/{judged.route_id}"
    findings = judged.call(ENGINEER, "GET", f"{route}/findings?limit=5").json()["next"]
    records = judged.call(ENGINEER, "GET", f"{route}/records?limit=5").json()["next"]
    foreign = [
        f"findings?cursor={records}",
        f"records?cursor={findings}",
        f"findings?cursor={findings}&outcome=conforming",
        f"findings?cursor={findings}&segment=east",
        f"findings?cursor={findings[:-2]}",
        f"findings?cursor={findings[:4]}{'A' if findings[4] != 'A' else 'B'}{findings[5:]}",
        f"records?cursor={write_cursor(['x', 'y'], of=f'records/{judged.route_id}')}",
        f"records?cursor={write_cursor([], of=f'records/{judged.route_id}')}",
        f"findings?cursor={write_cursor(['x'], of=f'findings/{judged.route_id}/None/None')}",
        f"findings?cursor={write_cursor([2**60], of=f'findings/{judged.route_id}/None/None')}",
        "records?cursor=e30",
        "records?cursor=NQ",
        "records?cursor=",
    ]
    for path in foreign:
        assert refusal(judged.call(ENGINEER, "GET", f"{route}/{path}"), 400)["type"].endswith("query.invalid"), path


def test_the_feed_of_notices_goes_on_from_the_last_one(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    path = f"/v1/projects/{world.project_id}/notices"
    assert world.ask(BILLING, "GET", path) == {"notices": [], "last": 0}
    decide(world, segments={"west": "accepted", "east": "accepted"}, concessions_granted=[1])
    at, met = f"{path}?limit=1", []
    while at:
        answer = world.call(BILLING, "GET", at)
        met += [int(one["sequence"]) for one in answer.json()["notices"]]
        at = answer.links.get("next", {}).get("url", "")
    assert met == [1, 2]
    assert world.ask(BILLING, "GET", f"{path}?after=2") == {"notices": [], "last": 2}
    assert [one["sequence"][-1] for one in world.ask(BILLING, "GET", f"{path}?after=1")["notices"]] == ["2"]


def test_billing_sees_no_people_and_no_places(fresh_world: OpenWorld) -> None:
    world = fresh_world("issued")
    decide(world, reason="Ilse Marrowby, p-3k7, splices fibre 20 at C5 again")
    package = newest_package(world)
    assert package["decision"]["reason"].startswith("Ilse")
    seen = "".join(
        world.call(BILLING, "GET", path).text
        for path in (
            f"/v1/projects/{world.project_id}",
            f"/v1/projects/{world.project_id}/notices",
            f"/v1/packages/{package['id']}",
        )
    )
    people, route = read_demo("people"), read_demo("route")
    names = {*people, *(one["name"] for one in people.values()), *(one["name"] for one in route["sites"])}
    sites = {f'"{site["id"]}"' for site in route["sites"]}
    devices = {one[name] for one in read_demo("01_splicing")["records"] for name in ("operator", "device")}
    assert package["certified_sha256"] in seen
    assert [word for word in names | sites | devices if word in seen] == []


def orders_of(world: World) -> list[Any]:
    orders: list[Any] = world.ask(CREW, "GET", f"/v1/routes/{world.route_id}/worklist")["orders"]
    return orders


def test_the_work_list_goes_from_site_to_site_and_ends_with_the_tests(fresh_world: OpenWorld) -> None:
    world = fresh_world("bound")
    world.drain()
    orders = orders_of(world)
    assert [(one["act"], one["sites"]) for one in orders] == [
        ("splice", ["A"]),
        ("splice", ["C1", "C2"]),
        ("splice", ["C3"]),
        ("splice", ["C4", "C5"]),
        ("seal", ["C1", "C2", "C3", "C4", "C5"]),
        ("splice", ["B"]),
        ("test", ["A", "B"]),
    ]
    assert [one["is_ready"] for one in orders] == [one["act"] == "splice" for one in orders]
    assert orders[2]["said"] == "At C3: splice fibres 1 to 12"
    assert orders[2]["places"] == "tube 1 (blue), fibres 1 (blue) to 12 (aqua)"


def test_a_known_work_list_is_not_sent_again(judged: World) -> None:
    path = f"/v1/routes/{judged.route_id}/worklist"
    tag = judged.call(CREW, "GET", path).headers["etag"]
    assert judged.call(CREW, "GET", path, headers={"If-None-Match": tag}).status_code == 304
    assert judged.call(CREW, "GET", path, headers={"If-None-Match": f"{tag}-older"}).status_code == 200


def test_behind_an_order_are_its_items_with_what_the_crew_sees_there(judged: World) -> None:
    [order] = [one for one in orders_of(judged) if one["act"] == "relieve_bend"]
    assert (order["said"], order["fibres"]) == (
        "Open C5: relieve the bend of fibre 20, then test again",
        [{"first": 20, "last": 20}],
    )
    assert order["places"] == "tube 2 (orange), fibre 8 (black)"
    [item] = judged.ask(CREW, "GET", order["items"])["items"]
    assert (item["fibre"], item["towards_a"]["tube_colour"], item["towards_b"]["fibre_colour"]) == (
        20,
        "orange",
        "black",
    )
    assert item["because"] == order["why"][0]["because"]
    assert judged.ask(CREW, "GET", f"{order['items'].partition('?')[0]}?act=re_terminate")["items"] == []


def test_items_go_on_page_by_page(fresh_world: OpenWorld) -> None:
    world = fresh_world("bound")
    world.drain()
    path, seen = f"/v1/routes/{world.route_id}/worklist/items?limit=10&act=seal&site=C3", []
    while path:
        answer = world.call(CREW, "GET", path)
        seen += [one["fibre"] for one in answer.json()["items"]]
        path = answer.links.get("next", {}).get("url", "")
    assert seen == list(range(1, 25))


def steeper(record: Any) -> Any:
    """Return a trace, taken again, whose second section loses more than that of any other fibre."""
    events = [dict(event) for event in record["events"]]
    at = 2 if record["from_site"] == "A" else 5
    events[at]["attenuation_db_per_km"] = round(events[at]["attenuation_db_per_km"] + 0.4, 3)
    more_db = 0.4 * (events[at]["distance_m"] - events[at - 1]["distance_m"]) / 1000
    total = {**record["total_loss"], "loss_db": round(record["total_loss"]["loss_db"] + more_db, 3)}
    return {**record, "id": str(uuid4()), "made_at": "2026-06-30T12:00:00Z", "events": events, "total_loss": total}


def test_the_work_list_names_what_only_several_fibres_together_tell(fresh_world: OpenWorld) -> None:
    world = fresh_world("judged")
    traces = [one for one in read_demo("04_otdr")["records"] if (one["fibre"], one["wavelength_nm"]) == (7, 1550)]
    before = world.worklist()
    world.record([steeper(one) for one in traces])
    asked = [one for one in world.worklist() if one not in before]
    assert {(one["act"], one["fibre"]) for one in asked} == {("retest", 7)}
    told = [one for one in asked if one["because"].startswith("In section S1 and S2 ")]
    assert [cause["criteria"] for one in told for cause in one["causes"]] == [["splice-1550"]]
    found = world.ask(CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/findings?limit=1")["items"]
    assert (7, "glass_unlike") in {(one.get("fibre"), one.get("reason")) for one in found}


def test_a_package_is_named_by_the_digest_of_its_file(decided: World) -> None:
    package = newest_package(decided)
    path = f"/v1/packages/{package['id']}"
    etag = f'"{package["current_sha256"]}"'
    assert decided.call(ENGINEER, "GET", path).headers["etag"] == etag
    assert decided.call(ENGINEER, "GET", f"{path}/pdf").headers["etag"] == etag


def test_records_are_read_in_order_of_arrival(judged: World) -> None:
    items = judged.ask(CONTRACTOR, "GET", f"{records_path(judged)}?limit=500")["items"]
    assert [one["received_at"] for one in items] == sorted(one["received_at"] for one in items)
    assert len(items) > 100
