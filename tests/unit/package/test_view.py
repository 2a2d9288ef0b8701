"""What the package says, before it is drawn."""

import json

from service.vocabulary.canonical import sha256_hex
from tests.package_factories import make_content, with_many_segments
from tests.package_reading import rows_of, section_of
from worker.package.data.attachments import attachments
from worker.package.document_model import Paragraph
from worker.package.phrases import UNKNOWN
from worker.package.view import build_view
from worker.package.wording.values import ranges_text


def test_sections_come_in_the_order_in_which_they_are_read() -> None:
    assert [section.title for section in build_view(make_content()).sections] == [
        "Cautions and scope",
        "The route to scale",
        "Segments and sites",
        "Where the joints lie",
        "Earlier packages",
        "Criteria as agreed",
        "What does not conform",
        "What is undetermined",
        "Losses on no joint",
        "Concessions asked for",
        "Fibres by criterion",
        "Statistics of joints",
        "Splice losses against their limits",
        "Splice losses along the route",
        "End to end",
        "Joints",
        "Connections and end faces",
        "Stray losses and bends",
        "Return loss",
        "Length and attenuation of the fibre",
        "References of source and meter",
        "How traces were taken",
        "Continuity and dispersion",
        "Workmanship",
        "Cable as laid",
        "Instruments and calibrations",
        "Records behind the findings",
        "Tests set aside and tests repeated",
        "Replaced, withdrawn and doubted records",
        "Suspicions",
        "Audit head",
    ]


def test_what_does_not_conform_is_listed_with_value_limit_and_reason() -> None:
    row = ("1", "C01", "1", "SPL-1550", "0.1045", "0.100", "dB", "mean of both directions over the limit")
    assert row in rows_of(make_content(), "What does not conform")


def test_what_is_undetermined_says_why() -> None:
    reason = "no trace from T-B at 1310 nm"
    assert rows_of(make_content(), "What is undetermined") == [
        ("2", "T-A to T-B", UNKNOWN, "TST-1310", UNKNOWN, UNKNOWN, UNKNOWN, reason)
    ]


def test_a_joint_unseen_in_one_direction_shows_its_threshold_and_bounds() -> None:
    rows = [row for row in rows_of(make_content(), "Joints") if row[5].startswith("±")]
    assert rows
    assert rows[0][5] == "±0.020"
    assert rows[0][6] == "0.0225 to 0.0425"


def test_findings_of_segments_not_submitted_are_left_out() -> None:
    both, south = rows_of(make_content(), "Joints"), rows_of(make_content(segments=["SEG-2"]), "Joints")
    assert {row[1] for row in both} == {"C01", "C02", "C03"}
    assert {row[1] for row in south} == {"C02", "C03"}


def test_an_empty_list_says_that_there_is_none() -> None:
    for title in ("Concessions asked for", "Losses on no joint", "Tests set aside and tests repeated"):
        assert section_of(make_content(concessions=[]), title).blocks == (Paragraph(text="None."),)


def test_a_replaced_record_is_listed_with_its_reason_and_its_instrument_is_not_counted() -> None:
    content = make_content()
    ended = rows_of(content, "Replaced, withdrawn and doubted records")
    assert [row[3] for row in ended] == [
        "replaced or withdrawn: wrong fibre number typed",
        "its clock was off when it arrived",
    ]
    splicer = next(row for row in rows_of(content, "Instruments and calibrations") if row[0] == "splicer")
    assert splicer[3] == "3"


def test_the_digests_on_the_cover_are_those_of_the_attached_files() -> None:
    content = make_content()
    files = attachments(content)
    said = {fact.label: fact.value for fact in build_view(content).cover.digests.facts}
    assert said["Design"] == sha256_hex(files["design.json"])
    assert said["Criteria"] == sha256_hex(files["criteria.json"])
    assert json.loads(files["findings.json"])["verdict_digest"] == said["Verdict"]
    about = json.loads(files["package.json"])
    assert [about[name] for name in ("design_sha256", "criteria_sha256", "verdict_digest")] == [
        sha256_hex(files["design.json"]),
        sha256_hex(files["criteria.json"]),
        said["Verdict"],
    ]


def test_the_attached_records_say_what_became_of_each() -> None:
    first, *_, last = json.loads(attachments(make_content())["records.json"])["records"]
    assert (first["is_ended"], first["end_reason"]) == (True, "wrong fibre number typed")
    assert (last["is_ended"], last["clock_is_flagged"]) == (False, True)


def test_one_version_of_a_verdict_segment_gives_its_outcome_and_counts() -> None:
    [first, second] = build_view(make_content()).cover.segments.rows
    # Two sections of 1840.50 m and 30 m of slack belong to each segment: 3 closures, 4 sections.
    assert first == ("SEG-1", "FO-0110", "1 to 4", "3741.00", "22", "1", "0", "nonconforming")
    assert second[-1] == "conforming"


def test_more_segments_than_the_cover_holds_are_announced() -> None:
    cover = build_view(with_many_segments(make_content(), count=7)).cover
    assert cover.segments_note == "and 2 more, listed under Segments and sites"


def test_fibres_in_scope_are_written_as_ranges() -> None:
    content = make_content(fibre_count=4)
    assert ranges_text(content.design.segments[0].fibres) == "1 to 4"
