"""The verdict of a route from its judged fibres."""

from collections.abc import Sequence

import pytest

from service.vocabulary.canonical import digest_of
from tests.factories import criteria_of, finished_fibre, in_two_segments, layout_of, only, splice_criterion
from tests.unit.judgement.judging import judge
from worker.judgement.fibre.contributions import Contributions
from worker.judgement.fibre.findings import Counts
from worker.judgement.route.settle import JudgedFibre, Verdict, settle
from worker.judgement.traces.spots import RouteSpots


def counts(*, conforming: int = 0, nonconforming: int = 0, undetermined: int = 0) -> dict[str, Counts]:
    """Return the counts of the one segment."""
    return {"SEG1": Counts(conforming, nonconforming, undetermined)}


def settled(*fibres: dict[str, Counts]) -> Verdict:
    """Settle the usual route with fibres of some counts."""
    return settle_judged([judged(number, own) for number, own in enumerate(fibres, start=1)])


def judged(number: int, own: dict[str, Counts]) -> JudgedFibre:
    """Return a fibre with nothing behind its counts."""
    return JudgedFibre(number=number, digest=f"{number:064x}", counts=own, contributions=Contributions())


def settle_judged(fibres: Sequence[JudgedFibre]) -> Verdict:
    """Settle the usual route under the usual criteria."""
    layout = layout_of()
    return settle(
        layout=layout,
        criteria=criteria_of(),
        design_sha256="d" * 64,
        criteria_sha256="c" * 64,
        spots=RouteSpots.as_designed(layout),
        fibres=fibres,
    )


@pytest.mark.parametrize(
    ("fibres", "outcome"),
    [
        ((counts(conforming=3), counts(conforming=2)), "conforming"),
        ((counts(conforming=3), counts(conforming=2, undetermined=1)), "undetermined"),
        ((counts(nonconforming=1), counts(conforming=2, undetermined=1)), "nonconforming"),
        ((counts(), counts()), "undetermined"),
        ((), "undetermined"),
    ],
)
def test_a_segment_is_as_good_as_its_worst_required_finding(
    fibres: tuple[dict[str, Counts], ...], outcome: str
) -> None:
    assert settled(*fibres).document["segments"]["SEG1"]["outcome"] == outcome


def test_counts_are_summed_over_the_fibres() -> None:
    verdict = settled(counts(conforming=3), counts(conforming=2, nonconforming=1, undetermined=4))
    counted = {"conforming": 5, "nonconforming": 1, "undetermined": 4}
    assert verdict.document["segments"]["SEG1"]["counts"] == counted


def test_the_order_of_the_fibres_does_not_matter() -> None:
    fibres = [judged(number, counts(conforming=number)) for number in range(1, 5)]
    one, other = (settle_judged(order) for order in (fibres, fibres[::-1]))
    assert (one.content, one.digest) == (other.content, other.digest)
    assert one.document["fibres"] == [f"{n:064x}" for n in range(1, 5)]


def test_the_digest_is_that_of_the_document_and_moves_with_each_part() -> None:
    verdict = settled(counts(conforming=1))
    assert verdict.digest == digest_of(verdict.document)
    assert verdict.digest != settled(counts(conforming=2)).digest


def test_only_required_findings_are_counted() -> None:
    advisory = splice_criterion(code="ADVICE", force="advisory", limit_db=0.01)
    judgement = judge(finished_fibre(), criteria=only(splice_criterion(), advisory))
    assert judgement.counts["SEG1"] == Counts(conforming=2, nonconforming=0, undetermined=2)
    assert len(judgement.document["findings"]) == 8


def test_a_joint_counts_in_the_segment_that_names_its_site_and_a_link_in_all() -> None:
    judgement = judge(finished_fibre(), design=in_two_segments())
    assert {name: own.conforming for name, own in judgement.counts.items()} == {"SEG1": 5, "SEG2": 5}


def test_a_segment_without_the_fibre_gets_no_findings_of_it() -> None:
    judgement = judge(finished_fibre(), design=in_two_segments(fibres=[{"first": 2, "last": 12}]))
    assert {site for f in judgement.document["findings"] if (site := f.get("site"))} == {"A", "C1"}
    assert list(judgement.counts) == ["SEG1"]
