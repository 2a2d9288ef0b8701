"""Where all fibres of a tube show a loss their joint lies, in whatever order they were tested."""

from collections.abc import Mapping, Sequence
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.criteria.criteria import Placing
from tests.factories import Body, both_ways, criteria_of, layout_of, make_design, make_sections, sealed, stored
from worker.judgement.documents.spots import read_spots, write_spots
from worker.judgement.judge import Rules
from worker.judgement.route.pooling import FEWEST_FIBRES, locate_sites
from worker.judgement.traces.sightings import SpanSightings
from worker.judgement.traces.spots import RouteSpots, Spot, Spots, located_spots

# Closures at 1000 and 2000 m, B at 3000 m.
DESIGN = make_design(fibre_count=24)


def seen(*at_m: float, rise_mdb: int | None = None, closures: int = 2, pulse_ns: int = 30) -> tuple[SpanSightings, ...]:
    """Return what one fibre shows from end to end."""
    in_cm = tuple(round(100 * metre) for metre in at_m)
    return (SpanSightings(0, closures + 1, pulse_ns, in_cm, (rise_mdb,) * len(in_cm)),)


def locate(by_fibre: Mapping[int, Sequence[SpanSightings]], design: Body = DESIGN) -> RouteSpots:
    """Locate the sites of a route by what its fibres show."""
    return locate_sites(layout_of(design), Placing(), by_fibre)


def offsets_m(spots: Spots) -> list[float]:
    """Return how far from A the sites are."""
    return [offset / 1e6 for offset in spots.offsets_um]


def test_joints_lie_where_most_fibres_show_them_and_events_within_what_they_scatter() -> None:
    scattered = {fibre: seen(1030.0 + fibre, 1995.0) for fibre in range(1, 6)}
    [group] = locate(scattered).groups
    # Middle of 1031 to 1035 m; the middle distance from it is 1 m, and six of them more than half the tolerance.
    assert group.found == {1: Spot(1033, 6, 5), 2: Spot(1995, 5, 5)}
    assert group.fibres == (1, 2, 3, 4, 5)


@pytest.mark.parametrize("fibres", [1, FEWEST_FIBRES - 1, FEWEST_FIBRES])
def test_with_too_few_fibres_the_design_says_where_joints_lie(fibres: int) -> None:
    found = locate({fibre: seen(1030.0, 2000.0) for fibre in range(1, fibres + 1)})
    assert found.of(1).is_designed is (fibres < FEWEST_FIBRES)


# 60 m is as far as the criteria let a cable's joints lie off; the two ends let each section's excess come to that.
@pytest.mark.parametrize(("away_m", "is_found"), [(60.0, True), (-60.0, True), (75.0, False)])
def test_joints_are_looked_for_as_far_off_as_was_agreed(away_m: float, is_found: bool) -> None:
    found = locate({fibre: seen(1000.0 + away_m, 2000.0) for fibre in range(1, 5)})
    assert (1 in found.groups[0].found) is is_found


# Nothing is sighted within 10 m of a span's end, where its connection is: nearer than half of that beyond it only some
# fibres tell.
@pytest.mark.parametrize(("at_m", "within_m"), [(2985.0, 10), (2984.0, 5)])
def test_what_only_some_fibres_can_tell_is_less_certain(at_m: float, within_m: int) -> None:
    design = make_design(sections=make_sections([1000.0, 1984.0, 16.0]))
    found = locate({fibre: seen(1000.0, at_m) for fibre in range(1, 5)}, design)
    assert found.groups[0].found[2] == Spot(round(at_m), within_m, 4)


def test_two_closures_that_lie_off_by_what_they_lie_apart_keep_their_own_losses() -> None:
    design = make_design(sections=make_sections([1000.0, 28.0, 1972.0]))
    found = locate({fibre: seen(1028.0, 1056.0) for fibre in range(1, 5)}, design)
    assert offsets_m(found.of(1)) == [0.0, 1028.0, 1056.0, 3000.0]


def test_a_closure_so_near_to_the_end_that_nothing_is_sighted_there_takes_no_others_losses() -> None:
    # Both were built 6 m farther out; C3, 9 m before B, is hidden by B's connection.
    design = make_design(closures=3, sections=make_sections([2969.0, 11.0, 11.0, 9.0]))
    found = locate({fibre: seen(2975.0, 2986.0, closures=3) for fibre in range(1, 5)}, design)
    assert {site: spot.from_a_m for site, spot in found.groups[0].found.items()} == {1: 2975, 2: 2986}


def test_a_closure_that_may_be_merged_with_the_one_before_it_takes_not_the_next_ones_loss() -> None:
    # 30 ns may merge what is 5.8 m apart, and C3 may be in the dark near B, but less likely than where it is designed.
    design = make_design(closures=3, sections=make_sections([2000.0, 5.8, 29.8, 51.4]))
    found = locate({fibre: seen(2004.0, 2034.8, closures=3) for fibre in range(1, 5)}, design)
    assert found.groups[0].found[3].from_a_m == 2035
    assert 2 not in found.groups[0].found


def test_closures_that_show_as_one_are_known_to_half_of_what_they_lie_apart_and_a_tray() -> None:
    # From either end another of them comes first.
    design = make_design(sections=make_sections([1000.0, 7.0, 1993.0]))
    found = locate({fibre: seen(1000.0, pulse_ns=100) for fibre in range(1, 5)}, design)
    assert found.groups[0].found == {1: Spot(997, 14, 4), 2: Spot(1004, 14, 4)}


def test_a_loss_that_rises_with_the_wave_is_no_closure() -> None:
    kinked = {fibre: (seen(1040.0, rise_mdb=40)[0],) for fibre in range(1, 5)}
    assert locate(kinked).groups == ()
    straight = {fibre: (seen(1040.0, rise_mdb=39)[0],) for fibre in range(1, 5)}
    assert 1 in locate(straight).groups[0].found


def test_of_two_losses_beside_a_moved_closure_none_is_taken_for_it() -> None:
    found = locate({fibre: seen(975.0, 1045.0, 2000.0) for fibre in range(1, 5)})
    assert 1 not in found.groups[0].found
    assert 2 in found.groups[0].found


def test_what_a_single_fibre_shows_is_no_closure() -> None:
    bent = {fibre: seen(1030.0, 2000.0) for fibre in range(1, 13)}
    bent[7] = seen(985.0, 1030.0, 2000.0)
    assert locate(bent).groups[0].found[1].from_a_m == 1030


def test_each_tube_has_its_own_spots_and_one_with_too_few_fibres_those_between() -> None:
    by_fibre = {fibre: seen(1010.0, 2000.0) for fibre in range(1, 7)}
    by_fibre |= {fibre: seen(1016.0, 2000.0) for fibre in range(13, 15)}
    found = locate(by_fibre)
    assert offsets_m(found.of(1))[1] == offsets_m(found.of(13))[1] == 1010.0
    by_fibre |= {fibre: seen(1016.0, 2000.0) for fibre in range(15, 17)}
    assert offsets_m(locate(by_fibre).of(13))[1] == 1016.0


def test_fibres_that_go_by_another_tube_are_not_among_those_that_show_a_site() -> None:
    by_fibre = {fibre: seen(1010.0, 2000.0) for fibre in (*range(1, 7), 13, 14)}
    [own, borrowed] = write_spots(locate(by_fibre))
    assert (own["seen_on"], borrowed["seen_on"]) == ([6, 6], [0, 0])
    assert (own["from_a_m"], borrowed["fibres"]) == (borrowed["from_a_m"], [{"first": 13, "last": 14}])


def test_a_site_that_nothing_shows_moves_as_its_neighbours_do() -> None:
    design = make_design(closures=3, sections=make_sections([1000.0] * 4))
    found = locate({fibre: seen(1020.0, 3020.0, closures=3) for fibre in range(1, 5)}, design).of(1)
    assert offsets_m(found) == [0.0, 1020.0, 2020.0, 3020.0, 4000.0]
    assert found.within_um[2] is None


def test_what_lies_between_two_sites_lies_at_the_same_share_of_the_way_in_the_design() -> None:
    found = locate({fibre: seen(1040.0, 2000.0) for fibre in range(1, 5)}).of(1)
    assert [found.in_design_um(at * 1_000_000) for at in (0, 520, 1040, 1520, 3000)] == [
        at * 1_000_000 for at in (0, 500, 1000, 1500, 3000)
    ]


def test_the_order_of_the_fibres_does_not_matter() -> None:
    by_fibre = {fibre: seen(1030.0 + fibre, 2000.0 - fibre) for fibre in range(1, 5)}
    found = {str(write_spots(locate({fibre: by_fibre[fibre] for fibre in order}))) for order in permutations(by_fibre)}
    assert len(found) == 1


def test_spots_are_read_as_they_were_written() -> None:
    layout = layout_of(DESIGN)
    by_fibre = {fibre: seen(1030.0 + fibre, 2000.0) for fibre in (1, 2, 3, 5, 13, 14, 15)}
    written = write_spots(locate_sites(layout, Placing(), by_fibre))
    assert [one["fibres"] for one in written] == [
        [{"first": 1, "last": 3}, {"first": 5, "last": 5}],
        [{"first": 13, "last": 15}],
    ]
    assert write_spots(read_spots(layout, written)) == written


DISTANCES = st.lists(st.integers(0, 300_000), max_size=12).map(lambda own: tuple(sorted(own)))


@given(st.dictionaries(st.integers(1, 24), DISTANCES, max_size=24), st.sampled_from([5, 300, 20_000]))
def test_whatever_fibres_show_sites_stay_in_their_order(by_fibre: dict[int, tuple[int, ...]], pulse_ns: int) -> None:
    spans = {fibre: (SpanSightings(0, 3, pulse_ns, at_cm, (None,) * len(at_cm)),) for fibre, at_cm in by_fibre.items()}
    found = locate(spans)
    for fibre in range(1, 25):
        offsets = offsets_m(found.of(fibre))
        assert offsets == sorted(offsets)
        assert (offsets[0], offsets[-1]) == (0.0, 3000.0)


@pytest.mark.parametrize("away_m", [0, 12, 45])
def test_what_a_fibre_shows_does_not_depend_on_where_its_joints_were_found_before(away_m: int) -> None:
    # Else a verdict would depend on the order in which records came, and settling might never end.
    layout = layout_of()
    rules = Rules(layout, criteria_of())
    records = rules.read(map(stored, [*sealed(), *both_ways(losses_db={"C1": 0.07})]))
    found = located_spots(layout, {1: Spot(1000 + away_m, 5, 3), 2: Spot(2000 - away_m, 5, 3)})
    judged = rules.judge(1, records, spots=found)
    assert judged.contributions is not None
    assert judged.contributions.sightings == rules.sight(1, records) != ()
