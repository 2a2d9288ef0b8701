"""What is paid for in a segment: its own cable and joints, and nothing of what lies between segments."""

from service.vocabulary.design.billing_quantities import quantities_of
from tests.factories import layout_of, make_design


def test_cable_that_no_segment_names_is_billed_nowhere_and_its_joints_are() -> None:
    [segment] = make_design()["segments"]
    layout = layout_of(make_design(segments=[{**segment, "sections": ["S2"]}]))
    [own] = layout.design.segments
    paid = quantities_of(layout, own, dark=())
    # 12 fibres in one section of 1000 m; a splice in each closure and behind each pigtail, and a pair at each end.
    assert (paid.cable_length_m, paid.fibre_length_m) == ("1000.00", "12000.00")
    assert (paid.splices, paid.terminations) == (48, 24)
