"""What looks unlikely in honest work is said, with how unlikely, and what is usual is not."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

import pytest
from scipy import integrate, stats

from service.vocabulary.findings.suspicion import SuspicionDocument
from tests.factories import (
    Body,
    both_ways,
    cord_ended,
    make_calibration,
    make_otdr,
    make_splice,
    only,
    sealed,
    splice_criterion,
    statistic_criterion,
    stored,
)
from tests.unit.judgement.routes import suspicions_in, verdict_of
from worker.judgement.fibre.contributions import Contributions, EstimateSums
from worker.judgement.history.acts import TraceOutline
from worker.judgement.route.copies import chance_of_equal_losses
from worker.judgement.route.suspicions import MOST_OF_A_KIND, suspicions_of

NINE = datetime(2025, 3, 20, 9, 0, tzinfo=UTC)
LOSSES_DB = {"C1": 0.043, "C2": 0.061, "A": 0.217, "B": 0.304}
OTHER_DB = {"C1": 0.037, "C2": 0.018, "A": 0.258, "B": 0.291}


def at(seconds: float) -> str:
    return (NINE + timedelta(seconds=seconds)).isoformat().replace("+00:00", "Z")


def trace(fibre: int, *, seconds: float, losses_db: Mapping[str, float] | None = None, **changes: object) -> Body:
    """Return a trace from A averaged for 30 s, with losses that are no other fibre's."""
    own = {site: round(loss_db + fibre / 1000, 3) for site, loss_db in LOSSES_DB.items()}
    return make_otdr(
        fibre=fibre, made_at=at(seconds), losses_db=losses_db or own, design=cord_ended(), **changes  # type: ignore[arg-type]
    )  # fmt: skip


def seen(traces: Sequence[Body], kind: str) -> list[SuspicionDocument]:
    """Return what is suspected of a kind from traces, each of its own fibre."""
    bodies: dict[int, list[Body]] = {}
    for one in traces:
        bodies.setdefault(one["fibre"], []).append(one)
    return suspicions_in(verdict_of(bodies, design=cord_ended(), criteria=only(statistic_criterion())), kind)


def all_seen(traces: Sequence[Body]) -> list[SuspicionDocument]:
    bodies = {one["fibre"]: [one] for one in traces}
    return verdict_of(bodies, design=cord_ended(), criteria=only(statistic_criterion())).document["suspicions"]


def test_an_honest_evening_raises_nothing() -> None:
    assert all_seen([trace(fibre, seconds=40 * fibre) for fibre in range(1, 13)]) == []


def test_one_trace_posted_for_two_fibres_is_said_with_its_chance() -> None:
    copied = [trace(1, seconds=0), trace(2, seconds=40, losses_db={"C1": 0.044, "C2": 0.062, "A": 0.218, "B": 0.305})]
    [found] = all_seen(copied)
    assert (found["kind"], found["fibres"]) == ("same_trace", [1, 2])
    assert found["records"] == [one["id"] for one in copied]
    assert found["detail"] == "2 traces on fibres 1 and 2 have the same 4 losses at the same distances"
    # (0.001 / (2 · 0.03 · √π))^4 = 7.8e-9, computed.
    assert found["chance"] == "at most 1e-8, taking losses to spread by 0.03 dB from joint to joint"


def test_the_same_losses_at_other_distances_are_the_same_readings() -> None:
    moved = trace(2, seconds=40, losses_db={"C1": 0.044, "C2": 0.062, "A": 0.218, "B": 0.305}, launch_m=510.0)
    [found] = all_seen([trace(1, seconds=0), moved])
    assert (found["kind"], found["fibres"]) == ("same_readings", [1, 2])
    assert found["detail"] == "2 traces on fibres 1 and 2 show the same 4 losses to the last digit"


def test_two_hundredths_that_agree_are_nothing_out_of_the_way() -> None:
    # (0.01 / (2 · 0.03 · √π))^2 = 0.0088, computed: in a hundred routes it happens.
    coarse = {"C1": 0.04, "C2": 0.06}
    unseen = {"A": None, "B": None}
    alike = [trace(fibre, seconds=40 * fibre, losses_db={**coarse, **unseen}) for fibre in (1, 2)]  # type: ignore[dict-item]
    assert all_seen(alike) == []


def test_a_trace_replaced_or_withdrawn_is_not_held_against_anybody() -> None:
    first, second = trace(1, seconds=0), trace(2, seconds=10)
    assert seen([first, second], "two_fibres_at_once") != []
    bodies = {1: [stored(first, is_ended=True)], 2: [stored(second)]}
    assert verdict_of(bodies, design=cord_ended(), criteria=only(statistic_criterion())).document["suspicions"] == []


def test_one_fibre_that_reads_alike_from_both_ends_is_nothing_out_of_the_way() -> None:
    there = trace(1, seconds=0, losses_db=LOSSES_DB | {"C2": 0.043, "B": 0.217})
    back = trace(1, seconds=40, losses_db=LOSSES_DB | {"C2": 0.043, "B": 0.217}, from_site="B", to_site="A")
    assert seen([there, back], "same_readings") == []


@pytest.mark.parametrize(
    ("losses", "step_mdb", "spread_db", "is_repeated"),
    [(3, 1, 0.03, False), (5, 1, 0.03, False), (4, 10, 0.03, False), (4, 1, 0.01, True), (44, 1, 0.03, False)],
)
def test_the_chance_is_never_below_that_of_normal_losses(
    losses: int, step_mdb: int, spread_db: float, is_repeated: bool
) -> None:
    # Computed with SciPy: two normal values fall into one step, averaged over where the steps lie.
    step_db = step_mdb / 1000
    apart = stats.norm(scale=spread_db * 2**0.5)
    both, _ = integrate.quad(lambda d: (1 - abs(d) / step_db) * apart.pdf(d), -step_db, step_db)
    power = chance_of_equal_losses(losses=losses, step_mdb=step_mdb, traces=100, is_repeated=is_repeated)
    true_chance = 100 * 99 / 2 * both**losses
    assert true_chance <= 10.0**-power if power else true_chance > 0.01
    assert not power or true_chance > 10.0 ** -(power + 2)


def test_losses_of_one_hundredth_and_noise_of_one_hundredth_prove_nothing() -> None:
    assert chance_of_equal_losses(losses=2, step_mdb=10, traces=2, is_repeated=True) == 1
    assert chance_of_equal_losses(losses=0, step_mdb=1, traces=2, is_repeated=False) == 0


# As fast as files are saved, up to 5 s, times say when they were (common practice, no source).
@pytest.mark.parametrize(
    ("apart_s", "is_said"),
    [(30.0, False), (29.0, False), (28.9, True), (5.1, True), (5.0, False), (2.0, False), (0.0, False)],
)
def test_an_instrument_on_two_fibres_at_once_is_said(apart_s: float, is_said: bool) -> None:
    found = seen([trace(1, seconds=0), trace(2, seconds=apart_s)], "two_fibres_at_once")
    assert [one["fibres"] for one in found] == ([[1, 2]] if is_said else [])


def test_what_is_said_of_an_instrument_names_the_first_time() -> None:
    [found] = seen([trace(1, seconds=0), trace(2, seconds=12), trace(3, seconds=20)], "two_fibres_at_once")
    assert found["detail"] == (
        "OTDR-1 measured two fibres at once 2 times: first on fibre 2, 12.0 s after a trace on fibre 1 and averaged "
        "for 30.0 s"
    )
    assert found["chance"] == "none, where clocks are right and a trace is stored when it is made"


def test_two_instruments_and_two_clocks_are_not_held_against_each_other() -> None:
    first = trace(1, seconds=0)
    others: list[Body] = [{"instrument_serial": "OTDR-2"}, {"device": "otdr-app-2"}, {"instrument_time": at(0)}]
    for unlike in others:
        assert seen([first, trace(2, seconds=0, **unlike)], "two_fibres_at_once") == []


def test_the_instrument_s_own_clock_goes_before_that_of_the_app() -> None:
    # Stored in one go in the evening, measured one after the other.
    stored_late = [trace(fibre, seconds=9999, instrument_time=at(40 * fibre)) for fibre in (1, 2, 3)]
    assert seen(stored_late, "two_fibres_at_once") == []
    at_once = [trace(fibre, seconds=4000 * fibre, instrument_time=at(6 * fibre)) for fibre in (1, 2)]
    assert len(seen(at_once, "two_fibres_at_once")) == 1


@pytest.mark.parametrize("apart_s", [0.0, 2.0])
def test_a_batch_imported_at_once_says_nothing_of_when_its_fibres_were_measured(apart_s: float) -> None:
    together = [trace(fibre, seconds=apart_s * fibre) for fibre in range(1, 13)]
    assert all_seen(together) == []
    by_instrument = [trace(fibre, seconds=9999, instrument_time=at(apart_s * fibre)) for fibre in range(1, 13)]
    assert all_seen(by_instrument) == []
    # Nor of the fibre that was measured before it.
    assert all_seen([*together, trace(13, seconds=12 * apart_s + 10)]) == []


def test_both_wavelengths_saved_two_seconds_apart_are_one_act() -> None:
    other = trace(1, seconds=2, losses_db=OTHER_DB, wavelength_nm=1310)
    assert seen([trace(1, seconds=0), other], "faster_than_averaging") == []


def test_a_fibre_tested_twice_may_read_the_same() -> None:
    again = trace(1, seconds=40)
    assert seen([trace(1, seconds=0), again], "same_trace") == []


def test_one_wavelength_posted_as_the_other_is_said() -> None:
    other = trace(1, seconds=40, wavelength_nm=1310)
    [found] = seen([trace(1, seconds=0), other], "same_trace")
    # (0.001 / (2 · 0.01 · √π))^4 = 6.3e-7, computed.
    assert found["chance"] == "at most 1e-6, taking the noise of one reading for 0.01 dB"


def test_a_trace_faster_than_its_averaging_time_is_said() -> None:
    for apart_s, times in ((29.0, 0), (28.9, 1)):
        again = trace(1, seconds=apart_s, losses_db=OTHER_DB, pulse_ns=100)
        assert len(seen([trace(1, seconds=0), again], "faster_than_averaging")) == times


def test_both_wavelengths_stored_at_once_are_one_act() -> None:
    other = trace(1, seconds=0, losses_db=OTHER_DB, wavelength_nm=1310)
    assert seen([trace(1, seconds=0), other], "faster_than_averaging") == []


def test_a_file_s_own_number_unlike_the_posted_one_is_said() -> None:
    assert seen([trace(3, seconds=0, labelled_fibre=3)], "labelled_otherwise") == []
    [found] = seen([trace(3, seconds=0, labelled_fibre=4)], "labelled_otherwise")
    assert found["fibres"] == [3]
    assert found["detail"] == "1 trace posted for fibre 3 carries the number 4 in its own file"


def drift_of(estimates_db: Mapping[int, float], *, wobble_mdb: int = 3) -> list[SuspicionDocument]:
    """Return what is said of a splicer, each fibre's two splices measured at 0.100 dB give or take some."""
    calibration = make_calibration()
    bodies = {}
    for fibre, estimate_db in estimates_db.items():
        measured_db = round(0.1 + (wobble_mdb if fibre % 2 else -wobble_mdb) / 1000, 3)
        both = {"C1": measured_db, "C2": measured_db}
        bodies[fibre] = [
            calibration,
            *(make_splice(site=site, fibres=[fibre], estimate_db=estimate_db) for site in ("C1", "C2")),
            *sealed(),
            *both_ways(fibre=fibre, losses_db=both, design=cord_ended(fibres=20)),
        ]
    criteria = only(splice_criterion(limit_db=0.2))
    return suspicions_in(verdict_of(bodies, design=cord_ended(fibres=20), criteria=criteria), "estimates_drift")


def test_estimates_far_from_the_measured_means_are_said_of_a_splicer_since_its_calibration() -> None:
    calibration = make_calibration()
    [found] = drift_of(dict.fromkeys(range(1, 16), 0.02))
    assert found["records"] == [calibration["id"]]
    assert found["detail"] == (
        f"the estimates of SPL-1 since its calibration {calibration['id']} are on average 0.0802 dB below the measured "
        "means of 30 splices"
    )
    assert found["fibres"] == list(range(1, 16))


@pytest.mark.parametrize(
    ("estimates_db", "wobble_mdb"),
    [
        (dict.fromkeys(range(1, 15), 0.02), 3),  # 28 splices are too few
        (dict.fromkeys(range(1, 17), 0.05), 3),  # 0.05 dB off is not more than that
        ({fibre: 0.0 if fibre % 2 else 0.05 for fibre in range(1, 16)}, 100),  # as many above as below, nearly
    ],
)
def test_estimates_that_are_few_near_or_scattered_are_not(estimates_db: dict[int, float], wobble_mdb: int) -> None:
    assert drift_of(estimates_db, wobble_mdb=wobble_mdb) == []


def test_the_bound_of_a_drift_s_chance_is_that_of_student_s_distribution() -> None:
    # Computed with SciPy for the fewest splices it is said of.
    assert 2 * stats.t.sf(5, df=29) < 3e-5


@pytest.mark.parametrize(("scatter_tenth_mdb", "is_said"), [(1240, True), (1250, False)])
def test_drift_is_said_where_student_s_t_is_above_5(scatter_tenth_mdb: int, is_said: bool) -> None:
    differences = [1000 + (scatter_tenth_mdb if n % 2 else -scatter_tenth_mdb) for n in range(40)]
    # Computed with SciPy.
    assert (stats.ttest_1samp(differences, 0).statistic > 5) == is_said
    sums = EstimateSums("S", "", len(differences), sum(differences), sum(d * d for d in differences))
    assert bool(suspicions_of({1: Contributions(estimates=(sums,))})) == is_said


def test_what_is_said_is_bounded_in_number() -> None:
    traces = [trace(fibre, seconds=40 * fibre, labelled_fibre=99) for fibre in range(1, 13)]
    assert len(seen(traces, "labelled_otherwise")) == 12
    contributions: dict[int, Contributions | None] = {}
    for fibre in range(1, 31):
        outline = TraceOutline(
            f"record-{fibre}", True, 1550, f"e{fibre}", f"l{fibre}", 4, 1, f"OTDR-{fibre}", "", 0, 0, 99
        )
        contributions[fibre] = Contributions(traces=(outline,))
    found = suspicions_of(contributions)
    assert len(found) == MOST_OF_A_KIND
    assert found[-1].detail.endswith("; and 10 more like these")


def test_nothing_suspected_decides_anything() -> None:
    honest, copied = ([trace(1, seconds=0), trace(2, seconds=gap)] for gap in (40, 10))
    one, other = (
        verdict_of({1: own[:1], 2: own[1:]}, design=cord_ended(), criteria=only(statistic_criterion(over="route")))
        for own in (honest, copied)
    )
    assert not one.document["suspicions"]
    assert other.document["suspicions"]
    assert one.document["segments"] == other.document["segments"]
    assert one.document["findings"] == other.document["findings"]
