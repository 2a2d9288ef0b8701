"""Copies of fibres against honest ones, by what their traces and power meters read, without judging them.

Readings are drawn as instruments show them: glass, splices, noise, what is too small to be seen.
"""

import math
from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pytest

from service.vocabulary.findings.suspicion import SuspicionKind
from tests.acceptance.figures import Share
from tests.unit.judgement.outlines import Losses, copied, draw_losses, draw_powers, edited, powered, traced
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.route.suspicions import suspicions_of

pytestmark = pytest.mark.slow

FIBRES, SOURCE, COPIED = 24, 11, 12
THRESHOLD_MDB = 20
HONEST_ROUTES = 160
COPIES = 60
# Of 24 fibres, as service/CRITERIA.md prints it: over how many joints, and how near to each other.
SIZES = ((42, 0.46), (24, 0.36), (16, 0.27), (12, 0.20), (8, 0.11), (6, 0.06))
COPY_KINDS = {
    SuspicionKind.NEARLY_SAME_READINGS,
    SuspicionKind.SWAPPED_DIRECTIONS,
    SuspicionKind.REPEATED_LINK_LOSSES,
}


def suspected(contributions: Mapping[int, Contributions]) -> set[int]:
    """Return the fibres that look like copies."""
    return {fibre for one in suspicions_of(contributions) if one.kind in COPY_KINDS for fibre in one.fibres}


@pytest.mark.parametrize("step_mdb", [1, 10])
@pytest.mark.parametrize("closures", [2, 6, 22])
def test_hardly_an_honest_fibre_looks_like_a_copy(
    closures: int, step_mdb: int, capsys: pytest.CaptureFixture[str]
) -> None:
    said = 0
    for seed in range(HONEST_ROUTES):
        [losses] = draw_losses(fibres=FIBRES, closures=closures, seed=seed)
        said += len(suspected(traced(losses, step_mdb=step_mdb)))
    share = Share(said, HONEST_ROUTES * FIBRES)
    _print(capsys, f"honest fibres said to be copies, {closures} closures, steps of {step_mdb} mdB: {share}")
    assert share.interval[1] <= 0.001


@pytest.mark.parametrize("closures", [2, 22])
def test_hardly_an_honest_loss_by_source_and_meter_looks_repeated(
    closures: int, capsys: pytest.CaptureFixture[str]
) -> None:
    routes = range(HONEST_ROUTES)
    said = sum(len(suspected(powered(draw_powers(fibres=FIBRES, closures=closures, seed=seed)))) for seed in routes)
    share = Share(said, HONEST_ROUTES * FIBRES)
    _print(capsys, f"honest fibres with losses said to be repeated, {closures} closures: {share}")
    assert share.interval[1] <= 0.001


@pytest.mark.parametrize("closures", [6, 22])
def test_fibres_of_a_tube_from_one_preform_are_no_copies(closures: int, capsys: pytest.CaptureFixture[str]) -> None:
    said = 0
    for seed in range(HONEST_ROUTES):
        [losses] = draw_losses(fibres=FIBRES, closures=closures, seed=2000 + seed)
        said += len(suspected(traced(_of_one_preform(losses))))
    share = Share(said, HONEST_ROUTES * FIBRES)
    _print(capsys, f"honest fibres of like glass said to be copies, {closures} closures: {share}")
    assert share.interval[1] <= 0.001


@pytest.mark.parametrize("kind", ["typed", "measured again", "one direction", "hundredths"])
def test_copies_above_the_printed_size_are_said(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    stated = said = smaller = smaller_said = 0
    for closures in (6, 10, 14, 22, 40):
        for seed in range(COPIES):
            losses = _copy(kind, closures=closures, seed=1000 + seed)
            is_said = suspected(traced(losses, step_mdb=10 if kind == "hundredths" else 1)) >= {SOURCE, COPIED}
            if _is_above_size(losses):
                stated, said = stated + 1, said + is_said
            else:
                smaller, smaller_said = smaller + 1, smaller_said + is_said
    share = Share(said, stated)
    _print(capsys, f"{kind}: above the size said {share}; below it {smaller_said} of {smaller}")
    assert stated >= COPIES
    assert share.count >= 0.95 * share.of


def test_losses_repeated_by_three_fibres_in_a_row_are_said(capsys: pytest.CaptureFixture[str]) -> None:
    said = {2: 0, 3: 0}
    for seed in range(5 * COPIES):
        powers = draw_powers(fibres=FIBRES, closures=22, seed=1000 + seed)
        for fibres in said:
            repeated = powers
            for fibre in range(SOURCE + 1, SOURCE + fibres):
                same = {side: own[SOURCE - 1] for side, own in powers.items()}
                repeated = copied(repeated, fibre=fibre, read=same)
            said[fibres] += suspected(powered(repeated)) >= {SOURCE, SOURCE + fibres - 1}
    for fibres, count in said.items():
        _print(capsys, f"four losses repeated by {fibres} fibres: said {Share(count, 5 * COPIES)}")
    assert said[3] >= 0.95 * 5 * COPIES


def test_traces_from_b_that_are_each_other_s_are_said_over_40_closures(capsys: pytest.CaptureFixture[str]) -> None:
    for closures, is_stated in ((12, False), (22, False), (40, True)):
        said = 0
        for seed in range(2 * COPIES):
            [losses] = draw_losses(fibres=FIBRES, closures=closures, seed=4000 + seed)
            for side in ((1310, False), (1550, False)):
                losses[side][[SOURCE - 1, COPIED - 1]] = losses[side][[COPIED - 1, SOURCE - 1]]
            said += suspected(traced(losses)) >= {SOURCE, COPIED}
        share = Share(said, 2 * COPIES)
        _print(capsys, f"swapped from B, {closures} closures: said {share}")
        assert not is_stated or share.count >= 0.95 * share.of


def _of_one_preform(losses: Losses) -> Losses:
    """Return a route on which nine tenths of what mode fields scatter is the same for every fibre of a tube."""
    changed: Losses = {}
    for nm in (1310, 1550):
        there, back = losses[nm, True], losses[nm, False]
        mean, offset = (there + back) / 2, (there - back) / 2
        of_tube = np.repeat(offset[::12], 12, axis=0)
        like = math.sqrt(0.9) * of_tube + math.sqrt(0.1) * offset
        changed[nm, True], changed[nm, False] = (np.rint(mean + sign * like).astype(np.int64) for sign in (1, -1))
    return changed


def _copy(kind: str, *, closures: int, seed: int) -> Losses:
    once, again = draw_losses(fibres=FIBRES, closures=closures, seed=seed, times=2)
    match kind:
        case "typed":
            source = {side: edited(own[SOURCE - 1], seed=seed, digits=2) for side, own in once.items()}
        case "hundredths":
            source = {side: edited(own[SOURCE - 1], seed=seed, digits=1, step_mdb=10) for side, own in once.items()}
        case "measured again":
            source = {side: own[SOURCE - 1] for side, own in again.items()}
        case _:
            source = {side: own[SOURCE - 1] for side, own in again.items() if not side[1]}
    return copied(once, fibre=COPIED, read=source)


def _is_above_size(losses: Losses) -> bool:
    """Tell whether the two fibres are, at one side alone, as near as is printed for as many joints or fewer."""
    return any(
        joints >= least_joints and ratio <= most_ratio
        for joints, ratio in _nearness(losses.values())
        for least_joints, most_ratio in SIZES
    )


def _nearness(sides: Iterable[np.ndarray]) -> Iterator[tuple[int, float]]:
    for read_mdb in sides:
        seen = np.abs(read_mdb) >= THRESHOLD_MDB
        seen[:, [0, -1]] = True
        both = seen[SOURCE - 1] & seen[COPIED - 1]
        apart = np.abs(read_mdb[SOURCE - 1] - read_mdb[COPIED - 1])[both]
        # Any two of the others, as they were built: the root of two times the spread, and the median of that.
        scatter = [
            0.6745 * math.sqrt(2) * float(np.std(own[keep])) for own, keep in zip(read_mdb.T, seen.T, strict=True)
        ]
        usual = np.array(scatter)[both]
        yield int(both.sum()), float(np.sqrt(np.mean(apart**2.0)) / np.exp(np.mean(np.log(usual))))


def _print(capsys: pytest.CaptureFixture[str], line: str) -> None:
    with capsys.disabled():
        print(f"\n{line}")
