"""What loses more the longer the wave: bends at joints and between them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, bend_criterion, both_ways, make_otdr, only, sealed, with_event_from_a
from tests.unit.judgement.judging import finding_by, judge


def both_wavelengths(
    short_db: tuple[float | None, float | None],
    long_db: tuple[float | None, float | None],
    *,
    site: str = "C1",
    **changes: object,
) -> list[Body]:
    """Return traces from both ends at 1310 and 1550 nm, with what they read at one site from A and from B."""
    bodies = sealed()
    for nm, losses in ((1310, short_db), (1550, long_db)):
        for ends, loss_db in zip((("A", "B"), ("B", "A")), losses, strict=True):
            own = {"wavelength_nm": nm, "losses_db": {site: loss_db}, **changes}
            bodies.append(make_otdr(from_site=ends[0], to_site=ends[1], **own))  # type: ignore[arg-type]
    return bodies


def bend_at(bodies: list[Body], *, site: str = "C1", **criterion: object) -> FindingDocument:
    """Return what is said of one place."""
    return finding_by(bend_criterion(**criterion), bodies, site=site)


@pytest.mark.parametrize(
    ("short_db", "long_db", "outcome"),
    [
        # The difference decides: 0.2 dB is no bend yet.
        (0.05, 0.250, "conforming"),
        (0.05, 0.251, "nonconforming"),
        # The ratio decides: 1.5 times as much is a bad splice still.
        (0.60, 0.900, "conforming"),
        (0.60, 0.901, "nonconforming"),
        (0.40, 0.600, "conforming"),
        (0.40, 0.601, "nonconforming"),
        # No loss at the shorter wavelength needs no ratio.
        (0.00, 0.200, "conforming"),
        (0.00, 0.201, "nonconforming"),
        (-0.01, 0.190, "conforming"),
        (-0.01, 0.191, "nonconforming"),
        # Less at the longer wavelength is no bend, however much.
        (0.90, 0.100, "conforming"),
    ],
)
def test_a_place_is_a_bend_where_both_settings_are_exceeded(short_db: float, long_db: float, outcome: str) -> None:
    finding = bend_at(both_wavelengths((short_db, short_db), (long_db, long_db)))
    assert finding["outcome"] == outcome
    assert finding["value"] == f"{long_db - short_db:.4f}"
    assert (finding["margin"].startswith("-")) is (outcome == "nonconforming")


def test_the_limit_that_is_shown_is_the_one_that_decides() -> None:
    assert bend_at(both_wavelengths((0.05, 0.05), (0.06, 0.06)))["limit"] == "0.2000"
    assert bend_at(both_wavelengths((0.6, 0.6), (0.9, 0.9)))["limit"] == "0.3000"


def test_readings_name_their_wavelengths() -> None:
    finding = bend_at(both_wavelengths((0.05, 0.05), (0.06, 0.08)))
    assert [reading["wavelength_nm"] for reading in finding["readings"]] == [1310, 1310, 1550, 1550]
    assert "wavelength_nm" not in finding
    assert finding["detail"] == "0.0700 dB at 1550 nm against 0.0500 dB at 1310 nm"


SETTINGS = st.tuples(st.integers(0, 500), st.integers(100, 300))
MDB = st.integers(-40, 1500)


@given(short=MDB, long=MDB, settings=SETTINGS)
def test_a_bend_exceeds_both_settings_in_whole_thousandths(short: int, long: int, settings: tuple[int, int]) -> None:
    greatest_mdb, ratio_percent = settings
    finding = bend_at(
        both_wavelengths((short / 1000, short / 1000), (long / 1000, long / 1000)),
        limit_db=greatest_mdb / 1000,
        ratio=ratio_percent / 100,
    )
    is_bent = long - short > greatest_mdb and 100 * long > ratio_percent * max(short, 0)
    assert (finding["outcome"] == "nonconforming") is is_bent


@pytest.mark.parametrize(
    ("long_db", "outcome"),
    # Unseen both ways at 1310 nm: within 0.02 dB of zero, so a bend starts somewhere from 0.18 to 0.22 dB.
    [(0.180, "conforming"), (0.181, "undetermined"), (0.220, "undetermined"), (0.221, "nonconforming")],
)
def test_an_unseen_loss_leaves_a_bend_open_by_its_threshold(long_db: float, outcome: str) -> None:
    finding = bend_at(both_wavelengths((None, None), (long_db, long_db)))
    assert (finding["outcome"], "value" in finding) == (outcome, False)
    assert finding.get("reason") == ("bound_too_wide" if outcome == "undetermined" else None)


@pytest.mark.parametrize(
    ("long_db", "outcome"),
    # Seen as 1.0 dB one way and not the other, within 0.02: from 0.49 to 0.51 dB, times 1.5.
    [(0.735, "conforming"), (0.736, "undetermined"), (0.765, "undetermined"), (0.766, "nonconforming")],
)
def test_the_ratio_takes_each_bound_with_its_own_end(long_db: float, outcome: str) -> None:
    finding = bend_at(both_wavelengths((1.0, None), (long_db, long_db)))
    assert finding["outcome"] == outcome


@pytest.mark.parametrize("missing", range(4))
def test_both_wavelengths_from_both_directions_are_needed(missing: int) -> None:
    bodies = both_wavelengths((0.05, 0.05), (0.5, 0.5))
    del bodies[2 + missing]
    finding = bend_at(bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "one_direction_only")
    assert finding["detail"].startswith(f"at {1310 if missing < 2 else 1550} nm: ")


def test_a_group_is_named_after_its_pair() -> None:
    finding = bend_at(both_wavelengths((0.3, 0.3), (0.6, 0.6), site="B"), site="B")
    assert (finding["outcome"], finding["position"]) == ("nonconforming", 2)


def bent(from_a_m: float, losses_db: dict[tuple[int, bool], float]) -> list[Body]:
    """Return traces from both ends at both wavelengths, some with a loss between the joints."""
    bodies = sealed()
    for nm in (1310, 1550):
        for trace in both_ways(wavelength_nm=nm):
            loss_db = losses_db.get((nm, trace["from_site"] == "A"))
            bodies.append(trace if loss_db is None else with_event_from_a(trace, from_a_m, loss_db=loss_db))
    return bodies


def spots(bodies: list[Body]) -> list[FindingDocument]:
    """Return what is said of spots on no joint."""
    findings = judge(bodies, criteria=only(bend_criterion())).document["findings"]
    return [finding for finding in findings if "section" in finding]


@pytest.mark.parametrize(
    ("long_db", "outcome"),
    [(0.180, "conforming"), (0.181, "undetermined"), (0.220, "undetermined"), (0.221, "nonconforming")],
)
def test_a_bend_between_the_joints_shows_at_the_longer_wavelength_only(long_db: float, outcome: str) -> None:
    [finding] = spots(bent(1500.0, {(1550, True): long_db, (1550, False): long_db}))
    assert (finding["outcome"], finding["section"]) == (outcome, "S2")
    assert [reading.get("within") for reading in finding["readings"]] == ["0.020", "0.020", None, None]


def test_a_spot_that_loses_the_same_at_both_wavelengths_is_damage_and_no_bend() -> None:
    everywhere = {(nm, is_forward): 0.5 for nm in (1310, 1550) for is_forward in (True, False)}
    [finding] = spots(bent(1500.0, everywhere))
    assert (finding["outcome"], finding["value"]) == ("conforming", "0.0000")


def test_a_spot_that_traces_of_one_direction_do_not_cover_is_undetermined() -> None:
    *bodies, last = bent(1500.0, {(1550, True): 0.5})
    [finding] = spots(bodies)
    assert (finding["outcome"], finding["reason"]) == ("undetermined", "one_direction_only")
    assert last["wavelength_nm"] == 1550


def test_a_fibre_without_stray_losses_has_no_spots() -> None:
    assert spots(bent(1500.0, {})) == []
