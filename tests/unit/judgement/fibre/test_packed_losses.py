"""What a trace shows at each site reaches its route, and nothing that it does not show."""

import pytest

from tests.factories import (
    Body,
    cord_ended,
    criteria_of,
    layout_of,
    make_attenuation,
    make_otdr,
    only,
    splice_criterion,
    stored,
)
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.fibre.packed_losses import UNREAD, unpack_losses
from worker.judgement.judge import Rules


def contributed(*bodies: Body) -> Contributions:
    rules = Rules(layout_of(cord_ended()), criteria_of(only(splice_criterion())))
    contributions = rules.judge(1, rules.read(map(stored, bodies))).contributions
    assert contributions is not None
    return contributions


def packed(*bodies: Body) -> list[list[int]]:
    rows: list[list[int]] = unpack_losses([one.packed_losses for one in contributed(*bodies).traces]).tolist()
    return rows


@pytest.mark.parametrize("ends", [("A", "B"), ("B", "A")])
def test_losses_stand_at_their_sites_whichever_way_they_were_seen(ends: tuple[str, str]) -> None:
    losses_db = {"A": 0.217, "C1": -0.043, "C2": 0.061, "B": 0.304}
    trace = make_otdr(losses_db=losses_db, from_site=ends[0], to_site=ends[1], design=cord_ended())
    assert packed(trace) == [[217, -43, 61, 304]]


def test_what_is_not_seen_is_not_read() -> None:
    assert packed(make_otdr(losses_db={"C1": None, "C2": 0.05}, design=cord_ended())) == [[300, UNREAD, 50, 300]]


def test_the_latest_loss_of_each_direction_and_wavelength_is_contributed() -> None:
    first, second = (
        make_attenuation(loss_db=loss_db, made_at=f"2025-03-20T0{hour}:00:00Z")
        for hour, loss_db in ((8, 1.2), (9, 1.1))
    )
    back = make_attenuation(from_site="B", to_site="A", loss_db=1.3)
    found = contributed(second, back, first).links
    assert sorted((one.is_forward, one.loss_mdb) for one in found) == [(False, 1300), (True, 1100)]
