"""Two readings of one splice that no two mode fields explain prove nothing."""

from typing import Any

import pytest

from service.vocabulary.findings.finding import FindingDocument
from tests.factories import Body, cord_ended, make_section, only, splice_criterion, spliced
from tests.reference.overlap import overlap_loss_db
from tests.unit.judgement.joints import traces
from tests.unit.judgement.judging import because, finding_of, judge, only_item

NO_SCATTERING: Body = {"scattering_db": 0.0}


def of_types(towards_a: str, towards_b: str) -> Body:
    """Return a design whose closure C1 joins two types of fibre."""
    design = cord_ended()
    for index, fibre_type in enumerate((towards_a, towards_b, towards_b)):
        design["sections"][index] = make_section(f"S{index + 1}", fibre_type=fibre_type)
    return design


ANY_TYPE = of_types("TYPE-X", "TYPE-X")


def at_c1(
    mean_mdb: int, offset_mdb: int, *, design: Body = ANY_TYPE, wavelength_nm: int = 1550, **consistency: Any
) -> FindingDocument:
    """Return what is found of the splice in C1 by a mean and by how much the reading from A is above it."""
    readings_db = (mean_mdb + offset_mdb) / 1000, (mean_mdb - offset_mdb) / 1000
    criterion = splice_criterion(limit_db=2.0, wavelength_nm=wavelength_nm)
    bodies = traces(*readings_db, design=design, wavelength_nm=wavelength_nm)
    judged = judge(bodies, design=design, criteria=only(criterion, consistency=consistency))
    return finding_of(judged, criterion["code"], site="C1")


def least_by_overlap_db(offset_db: float) -> float:
    """Return the loss between two Gaussian fields whose widths are 10^(offset/10) apart."""
    return overlap_loss_db(radius_a_um=4.6, radius_b_um=4.6 * 10 ** (offset_db / 10))


@pytest.mark.parametrize("scattering_mdb", [0, 300])
@pytest.mark.parametrize("mean_mdb", [*range(40, 120, 3)])
@pytest.mark.parametrize("way", [1, -1])
def test_a_mean_below_what_the_mode_fields_lose_by_more_than_its_uncertainty_proves_nothing(
    mean_mdb: int, scattering_mdb: int, way: int
) -> None:
    # Computed by an overlap integral of two Gaussian fields; 0.05 dB is the uncertainty of a bidirectional splice,
    # common practice, no source.
    offset_mdb = 700 + scattering_mdb
    found = at_c1(mean_mdb, way * offset_mdb, scattering_db=scattering_mdb / 1000)
    is_impossible = mean_mdb / 1000 + 0.05 < least_by_overlap_db(0.7)
    assert found.get("reason") == ("impossible_pair" if is_impossible else None)
    assert found["outcome"] == ("undetermined" if is_impossible else "conforming")


def test_the_least_loss_is_said() -> None:
    found = at_c1(20, 800, **NO_SCATTERING)
    assert found["detail"].endswith(f"mode fields so unlike lose {least_by_overlap_db(0.8):.4f} dB at least")
    assert "mean of 0.820 dB (A to B) and -0.780 dB (B to A)" in found["detail"]
    assert len(found["readings"]) == 2


def test_a_great_gain_one_way_and_a_great_loss_the_other_is_no_good_splice() -> None:
    # Two cores of one type, a mean of 0.05 dB: half the difference is 1.15 dB, and scattering explains 0.3 dB of it.
    for design in (ANY_TYPE, cord_ended()):
        found = at_c1(50, 1150, design=design)
        assert (found["outcome"], found["reason"]) == ("undetermined", "impossible_pair")


@pytest.mark.parametrize(
    ("types", "offset_mdb", "is_impossible"),
    # At 1310 nm both are 8.2 to 9.6 um wide, tolerances included, from memory: 10 log10(9.6/8.2) is 0.6846 dB.
    # With 0.3 dB for scattering that is 0.984 dB; the mean of 0.3 dB is more than such mode fields lose.
    [
        (("G.652.D", "G.652.D"), 984, False),
        (("G.652.D", "G.652.D"), 985, True),
        (("G.652.D", "G.657.A1"), -984, False),
        (("G.652.D", "G.657.A1"), -985, True),
        (("G.652.D", "TYPE-X"), 985, False),
        (("TYPE-X", "TYPE-X"), 985, False),
    ],
)
def test_the_types_bound_the_mode_fields(types: tuple[str, str], offset_mdb: int, is_impossible: bool) -> None:
    found = at_c1(300, offset_mdb, design=of_types(*types), wavelength_nm=1310)
    assert found.get("reason") == ("impossible_pair" if is_impossible else None)
    assert found["detail"].endswith(f"{' and '.join(types)} are not so unlike") is is_impossible


def test_from_the_wider_to_the_narrower_type_nothing_reads_as_a_loss_first() -> None:
    # At 1550 nm G.653 is 7.0 to 9.3 um wide and G.652 9.4 to 11.4, from memory: from the first to the second the
    # reading is above the mean, by 10 log10(9.4/9.3) at least.
    design = of_types("G.653.B", "G.652.D")
    assert "reason" not in at_c1(300, 700, design=design, **NO_SCATTERING)
    assert at_c1(300, -700, design=design, **NO_SCATTERING)["reason"] == "impossible_pair"


def test_what_a_direction_does_not_show_says_nothing_of_the_difference() -> None:
    criteria = only(splice_criterion(limit_db=2.0), consistency=NO_SCATTERING)
    judged = judge(traces(1.2, None, design=ANY_TYPE), design=ANY_TYPE, criteria=criteria)
    assert finding_of(judged, "SPLICE-1550", site="C1")["outcome"] == "conforming"


def test_what_is_impossible_is_to_be_tested_again() -> None:
    bodies = [*spliced(), *traces(1.2, -1.1, design=ANY_TYPE)]
    item = only_item(judge(bodies, design=ANY_TYPE, criteria=only(splice_criterion(limit_db=0.3))))
    assert item["act"] == "retest"
    assert because(item).endswith("at C1 at 1550 nm: test this very fibre again from both ends.")
