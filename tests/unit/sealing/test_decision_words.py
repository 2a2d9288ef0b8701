"""What a decision's seal says: by segment, why, by whom, when and for whom, however long all of that is."""

from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from service.vocabulary.people import PrintedPerson
from service.vocabulary.signatures import SignaturePlace
from worker.package.fonts.text_style import REGULAR_FONT
from worker.package.pages.signing_page import SIGNATURE_BOXES
from worker.sealing.decision_words import SpokenDecision, declare, segments_text
from worker.signing.fields import OWN_KEY_FOLLOWS
from worker.signing.make.stamp import SMALLEST_FONT_SIZE_PT, draw_stamp

SHA256 = "5c" * 32
ORDER = [f"S{number:03d}" for number in range(1, 501)]
# As long as the API takes one.
LONGEST_REASON = ("The closure at C5 is to be opened, dried and spliced again before June. " * 60)[:4000].strip()
ENGINEER = PrintedPerson(name="Petra Lindqvale", position="acceptance engineer")


def spoken(**changes: Any) -> SpokenDecision:
    """Return a decision that accepts west and refuses east."""
    words = {"segments": {"east": "refused", "west": "accepted"}, "signature": "service_seal"}
    decision = SpokenDecision(
        words=words,
        sha256=SHA256,
        decided_at=datetime(2026, 3, 20, 15, 4, 5, 678, tzinfo=UTC),
        segments=["west", "east"],
        concessions_asked=0,
        engineer=ENGINEER,
        owner="Oldenmere County Networks",
    )
    own = {name: changes.pop(name) for name in list(changes) if name in {"segments", "engineer", "concessions_asked"}}
    return replace(decision, words={**words, **changes.pop("words", {}), **changes}, **own)


def accepting(segments: list[str], **changes: Any) -> SpokenDecision:
    return spoken(words={"segments": dict.fromkeys(segments, "accepted")}, segments=segments, **changes)


def shown(decision: SpokenDecision) -> tuple[str, float]:
    """Return what the stamp prints in the package's frame, and the smallest type in it."""
    left, bottom, right, top = SIGNATURE_BOXES[SignaturePlace.DECISION]
    stamps = declare(decision).stamps
    pdf = draw_stamp(stamps, width_pt=right - left, height_pt=top - bottom, font_file=REGULAR_FONT)
    sizes, lowest = set[float](), []

    def note(text: str, _: object, matrix: list[float], __: object, size_pt: float) -> None:
        if text.strip():
            sizes.add(size_pt)
            lowest.append(matrix[5])

    text = PdfReader(BytesIO(pdf)).pages[0].extract_text(visitor_text=note)
    assert min(lowest) > 0
    return " ".join(text.split()), min(sizes)


def test_the_sentence_says_by_whom_with_position_when_for_whom_and_what() -> None:
    at = "2026-03-20 15:04:05 UTC"
    sentence = (
        f"On {at} Petra Lindqvale, acceptance engineer, for Oldenmere County Networks, accepts 1 segment of this "
        "package, latent defects excepted, and refuses 1 segment."
    )
    assert declare(spoken()).reason == f"Service's seal over the recorded decision, SHA-256 {SHA256}. {sentence}"
    assert shown(spoken())[0].startswith(sentence)


def test_of_segments_refused_the_reason_is_printed_and_nothing_of_acceptance_said() -> None:
    text, size_pt = shown(spoken(words={"segments": {"west": "refused", "east": "refused"}}, reason="C5 stands open"))
    assert "Refused west, east Reason given C5 stands open" in text
    assert "refuses 2 segments of this package." in text
    assert "ccepted" not in text
    assert size_pt == 9.0


@pytest.mark.parametrize(("reason", "said"), [(None, "none stated"), ("The lid is to be painted.",) * 2])
def test_an_acceptance_names_its_reservations(reason: str | None, said: str) -> None:
    changes = {} if reason is None else {"reason": reason}
    text, _ = shown(accepting(["west"], **changes))
    assert f"Accepted west; latent defects excepted Reservations {said}" in text
    assert "accepts 1 segment of this package, latent defects excepted." in text


@pytest.mark.parametrize(
    ("granted", "said"),
    [([], "none granted of 4 asked for"), ([4, 1, 2, 3], "granted: 1 to 4, of 4 asked for"), ([2], "granted: 2, of 4")],
)
def test_concessions_are_named_by_number(granted: list[int], said: str) -> None:
    text, _ = shown(spoken(concessions_asked=4, concessions_granted=granted))
    assert f"Concessions {said}" in text
    assert "Concessions" not in shown(spoken())[0]


def test_only_where_an_own_key_was_chosen_the_reason_ends_with_what_follows() -> None:
    own_key = spoken(signature="own_key")
    assert declare(own_key).reason.endswith(f". {OWN_KEY_FOLLOWS}")
    assert OWN_KEY_FOLLOWS not in declare(spoken()).reason
    assert f"Own signature {OWN_KEY_FOLLOWS}" in shown(own_key)[0]
    assert "Own signature none follows: the engineer chose this seal alone" in shown(spoken())[0]


def test_nobodys_name_can_say_that_an_own_key_follows() -> None:
    liar = spoken(engineer=PrintedPerson(name="Nobody", position=OWN_KEY_FOLLOWS))
    assert not declare(liar).reason.endswith(OWN_KEY_FOLLOWS)


def test_what_the_clock_decided_is_nobodys_word() -> None:
    deemed = accepting(["west", "east"], deemed_after_days=14, engineer=None)
    text, _ = shown(deemed)
    assert text.startswith("By the criteria 2 segments of this package came to be deemed accepted for Oldenmere County")
    assert "within 14 days of issue, and this is nobody's word." in text
    assert "Own signature" not in text
    assert "engineer" not in text


def test_of_a_token_without_a_holder_it_is_said_so() -> None:
    assert "UTC the holder of the engineer's token, for Oldenmere" in declare(spoken(engineer=None)).reason


def test_who_has_no_position_any_more_is_named_by_what_is_left() -> None:
    assert "UTC p-9e6, for Oldenmere" in declare(spoken(engineer=PrintedPerson(name="p-9e6"))).reason


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        (["east"], "east"),
        (["west", "east"], "west, east"),
        (["east", "hill", "west"], "all 3 segments, west to hill"),
    ],
)
def test_few_segments_are_named_in_the_packages_order(chosen: list[str], said: str) -> None:
    order = ["west", "east", "hill"] if len(chosen) == 3 else ["west", "east"]
    assert segments_text(chosen, order=order) == said


def test_many_segments_are_named_as_ranges() -> None:
    assert segments_text(ORDER, order=ORDER) == "all 500 segments, S001 to S500"
    chosen = [one for one in ORDER if one not in {"S003", "S004", "S250"}]
    assert segments_text(chosen, order=ORDER) == "S001, S002, S005 to S249, S251 to S500"


@pytest.mark.parametrize(
    ("segments", "reason", "are_named"),
    [(ORDER[:120], LONGEST_REASON, True), (ORDER, "C5 stands open", True), (ORDER, LONGEST_REASON, False)],
    ids=["the longest reason", "most segments", "both"],
)
def test_the_longest_reason_is_whole_and_so_are_most_segments(
    segments: list[str], reason: str, are_named: bool
) -> None:
    words = {one: "accepted" if number % 2 else "refused" for number, one in enumerate(segments)}
    text, size_pt = shown(spoken(words={"segments": words}, segments=segments, reason=reason))
    assert reason in text
    assert all(one in text for one in segments) is are_named
    assert ("Refused 250 segments, named in the recorded decision" in text) is not are_named
    assert size_pt >= SMALLEST_FONT_SIZE_PT


@pytest.mark.parametrize("letter", ["W", "Ж", "\u5f20"])
def test_what_finds_no_room_is_said_to_be_in_the_recorded_decision(letter: str) -> None:
    order = [f"{number:03d}-" + "S" * 60 for number in range(500)]
    words = {one: "accepted" if number % 2 else "refused" for number, one in enumerate(order)}
    decision = spoken(
        words={"segments": words},
        segments=order,
        reason=letter * 4000,
        concessions_asked=2000,
        concessions_granted=list(range(1, 2000, 2)),
        engineer=PrintedPerson(name=letter * 500, position=letter * 100),
    )
    text, size_pt = shown(decision)
    assert size_pt >= SMALLEST_FONT_SIZE_PT
    for said in (
        "Accepted 250 segments, named in the recorded decision",
        "Refused 250 segments, named in the recorded decision",
        "1000 granted of 2000 asked for, numbered in the recorded decision",
        "(4000 characters in all, in the recorded decision, which the service gives with the package)",
        SHA256,
    ):
        assert said.replace(" ", "") in text.replace(" ", "")
