"""Reports on criteria, given where they are posted, meet a route, and bind it."""

from service.vocabulary.words import TokenKind
from tests.integration.trial_acts import wider
from tests.world import World

ENGINEER, CONTRACTOR = TokenKind.ENGINEER, TokenKind.CONTRACTOR


def test_posted_criteria_are_told_what_contradicts_and_stored_all_the_same(world: World) -> None:
    path = f"/v1/projects/{world.project_id}/criteria"
    odd = wider(0.1)
    odd["criteria"][0]["fallback"] = {"attempts": 3, "limit_db": 0.1}
    made = world.ask(ENGINEER, "POST", path, json=odd)
    assert [(one["criteria"], one["severity"]) for one in made["reports"]] == [(["SPLICE-1550"], "contradictory")]
    kept = world.ask(CONTRACTOR, "GET", f"{path}/{made['version']}")
    assert kept["reports"] == made["reports"]


def test_proposing_acknowledging_and_the_status_tell_what_does_not_fit_the_route(world: World) -> None:
    far = wider()
    far["criteria"][0]["applies_when"] = {"least_span_m": 60_000.0}
    version = world.ask(ENGINEER, "POST", f"/v1/projects/{world.project_id}/criteria", json=far)
    assert version["reports"] == []
    binding, body = f"/v1/routes/{world.route_id}/criteria", {"version": version["version"]}
    proposed = world.ask(ENGINEER, "PUT", binding, json=body)
    assert world.status()["criteria_reports"] != proposed["reports"]
    acknowledged = world.ask(CONTRACTOR, "PUT", f"{binding}/acknowledgement", json=body)
    assert [(one["criteria"], one["severity"]) for one in proposed["reports"]] == [(["SPLICE-1550"], "questionable")]
    assert proposed["reports"] == acknowledged["reports"] == world.status()["criteria_reports"]
