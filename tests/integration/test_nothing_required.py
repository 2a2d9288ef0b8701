"""A segment of which nothing is required cannot be submitted: no finding proves nothing."""

from service.vocabulary.words import TokenKind
from tests.factories import make_criteria, splice_criterion
from tests.world import World


def test_criteria_that_only_advise_prove_no_fibre(world: World) -> None:
    advisory = make_criteria(criteria=[splice_criterion(force="advisory")])
    path = f"/v1/projects/{world.project_id}/criteria"
    version = world.ask(TokenKind.ENGINEER, "POST", path, json=advisory)["version"]
    binding = f"/v1/routes/{world.route_id}/criteria"
    world.ask(TokenKind.ENGINEER, "PUT", binding, json={"version": version})
    world.ask(TokenKind.CONTRACTOR, "PUT", f"{binding}/acknowledgement", json={"version": version})
    world.drain()
    answer = world.submit()
    assert answer.status_code == 422
    assert len(answer.json()["errors"]) == 12
    assert answer.json()["errors"][0]["detail"] == "SEG1: the criteria require nothing of fibre 1"
