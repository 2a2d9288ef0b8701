"""What a file shows, held against the drawing it should show: whatever a reader would see differently is found."""

import re
import zlib
from collections.abc import Callable
from functools import partial
from io import BytesIO
from typing import Any

import pytest
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from service.vocabulary.signatures import SignaturePlace
from tests.package_factories import make_content
from tests.package_reading import draw_content
from tests.signed_documents import NOW, Signed, countersign_document
from worker.package.pages.drawing import SIGNATURE_BOXES, SIGNING_PAGE
from worker.signing.check.pages import Frames, PageDifferences, UnreadablePagesError, compare_drawings
from worker.signing.fields import DECISION_FIELD, ENGINEER_FIELD, RESERVED
from worker.signing.make.certify import certify

pytestmark = pytest.mark.slow

FRAMES: Frames = {name: (SIGNING_PAGE, SIGNATURE_BOXES[place]) for place, name in RESERVED.items()}
# The library makes objects by functions without types.
MAKE: Any = generic
Change = Callable[[Any, Any], None]


@pytest.fixture(scope="module")
def drawn() -> bytes:
    return draw_content(make_content())


@pytest.fixture(scope="module")
def certified(drawn: bytes, signed: Signed) -> bytes:
    return certify(
        drawn, key=signed.key, signed_at=NOW, reason="Package issued", boxes=SIGNATURE_BOXES, page=SIGNING_PAGE
    ).pdf


def compare(pdf: bytes, drawn: bytes) -> PageDifferences:
    """Compare a file with its drawing as it begins with it, and object by object: both find the same."""
    found = compare_drawings(pdf, drawn=drawn, frames=FRAMES)
    # A word in a comment is shown nowhere, and makes the drawing no beginning of any file.
    elsewhere = drawn.replace(b"Generated", b"generated", 1)
    assert len(elsewhere) == len(drawn) and not pdf.startswith(elsewhere)
    assert compare_drawings(pdf, drawn=elsewhere, frames=FRAMES) == found
    return found


def updated(pdf: bytes, change: Change, *, page: int = 3) -> bytes:
    """Return the file with an update of one page, by its number, or of what the change reaches from there."""
    writer: Any = IncrementalPdfFileWriter(BytesIO(pdf))
    reference, _ = writer.find_page_for_modification(page - 1)
    own = reference.get_object()
    change(writer, own)
    writer.update_container(own)
    output = BytesIO()
    writer.write(output)
    return output.getvalue()


@pytest.mark.parametrize("stage", ["drawn", "certified", "countersigned"])
def test_signing_changes_nothing_that_is_shown(drawn: bytes, certified: bytes, signed: Signed, stage: str) -> None:
    stages = {"drawn": drawn, "certified": certified, "countersigned": countersign_document(certified, key=signed.key)}
    found = compare(stages[stage], drawn)
    assert found.page_count == found.drawn_count > 5
    assert (found.other_pages, found.pages_with_additions, found.other_entries) == ((), (), ())


def test_another_drawing_differs_on_the_pages_that_say_something_else(drawn: bytes) -> None:
    other = draw_content(make_content(owner="Tidewater Communications District Two"))
    assert compare(other, drawn).other_pages == (1, 2)


def _one_digit(writer: Any, page: Any) -> None:
    changed, count = re.subn(rb"\((\d)\) Tj", b"(0) Tj", bytes(page["/Contents"].data), count=1)
    assert count == 1
    page[MAKE.NameObject("/Contents")] = writer.add_object(MAKE.StreamObject(stream_data=changed))


def _painted_over(writer: Any, page: Any) -> None:
    more = writer.add_object(MAKE.StreamObject(stream_data=b"1 1 1 rg 100 100 200 200 re f"))
    page[MAKE.NameObject("/Contents")] = MAKE.ArrayObject([page.raw_get("/Contents"), more])


def _another_font(writer: Any, page: Any) -> None:
    fonts = page["/Resources"]["/Font"]
    first, second = sorted(fonts)[:2]
    exchanged = MAKE.DictionaryObject(dict(fonts) | {first: fonts.raw_get(second), second: fonts.raw_get(first)})
    page[MAKE.NameObject("/Resources")] = MAKE.DictionaryObject(dict(page["/Resources"]) | {"/Font": exchanged})


def _another_width(writer: Any, page: Any) -> None:
    fonts = page["/Resources"]["/Font"]
    font = fonts[sorted(fonts)[0]]
    font[MAKE.NameObject("/Widths")] = MAKE.ArrayObject([MAKE.NumberObject(0)] * 128)
    writer.update_container(font)


def _turned(_: Any, page: Any) -> None:
    page[MAKE.NameObject("/Rotate")] = MAKE.NumberObject(180)


def _cropped(_: Any, page: Any) -> None:
    page[MAKE.NameObject("/CropBox")] = MAKE.ArrayObject(map(MAKE.NumberObject, (0, 0, 595, 400)))


@pytest.mark.parametrize(
    "change", [_one_digit, _painted_over, _another_font, _turned, _cropped], ids=lambda one: one.__name__
)
@pytest.mark.parametrize("is_signed", [False, True])
def test_a_page_changed_by_an_update_is_named(drawn: bytes, certified: bytes, change: Change, is_signed: bool) -> None:
    changed = updated(certified if is_signed else drawn, change)
    assert changed.startswith(certified if is_signed else drawn)
    assert compare(changed, drawn).other_pages == (3,)


def test_a_changed_font_is_found_on_every_page_that_uses_it(drawn: bytes) -> None:
    found = compare(updated(drawn, _another_width), drawn)
    assert len(found.other_pages) == found.page_count


def test_a_link_that_lies_elsewhere_is_named(drawn: bytes) -> None:
    def change(writer: Any, page: Any) -> None:
        link = page["/Annots"][0]
        link[MAKE.NameObject("/Rect")] = MAKE.ArrayObject(map(MAKE.NumberObject, (0, 0, 595, 842)))
        writer.update_container(link)

    found = compare(updated(drawn, change), drawn)
    assert (found.other_pages, found.pages_with_additions) == ((), (3,))


def _note(_: Any, page: Any, *, subtype: str = "/FreeText", **entries: Any) -> None:
    rectangle = MAKE.ArrayObject(map(MAKE.NumberObject, (100, 100, 300, 200)))
    note = MAKE.DictionaryObject({"/Subtype": MAKE.NameObject(subtype), "/Rect": rectangle} | entries)
    own = list(page.get("/Annots", ()))
    page[MAKE.NameObject("/Annots")] = MAKE.ArrayObject([*own, note])


def _sign_like(name: str, rectangle: tuple[float, ...]) -> Change:
    def change(_: Any, page: Any) -> None:
        field = {
            "/Subtype": MAKE.NameObject("/Widget"),
            "/FT": MAKE.NameObject("/Sig"),
            "/T": MAKE.TextStringObject(name),
            "/Rect": MAKE.ArrayObject(map(MAKE.FloatObject, rectangle)),
        }
        page[MAKE.NameObject("/Annots")] = MAKE.ArrayObject(
            [*list(page.get("/Annots", ())), MAKE.DictionaryObject(field)]
        )

    return change


@pytest.mark.parametrize("page", [1, 3])
def test_a_note_laid_over_a_page_is_named(certified: bytes, drawn: bytes, page: int) -> None:
    found = compare(updated(certified, _note, page=page), drawn)
    assert (found.other_pages, found.pages_with_additions) == ((), (page,))


ENGINEERS_FRAME = SIGNATURE_BOXES[SignaturePlace.ENGINEER]


@pytest.mark.parametrize(
    ("name", "rectangle", "page", "is_allowed"),
    [
        (ENGINEER_FIELD, ENGINEERS_FRAME, 2, True),
        (ENGINEER_FIELD, ENGINEERS_FRAME, 1, False),
        (ENGINEER_FIELD, ENGINEERS_FRAME, 3, False),
        (ENGINEER_FIELD, (0, 0, 595, 842), 2, False),
        (DECISION_FIELD, ENGINEERS_FRAME, 2, False),
        ("Another", ENGINEERS_FRAME, 2, False),
        ("Another", (0, 0, 0, 0), 1, True),
    ],
)
def test_a_signature_may_show_in_its_own_frame_and_nowhere_else(
    drawn: bytes, name: str, rectangle: tuple[float, ...], page: int, is_allowed: bool
) -> None:
    found = compare(updated(drawn, _sign_like(name, rectangle), page=page), drawn)
    assert found.pages_with_additions == (() if is_allowed else (page,))


def test_an_action_on_opening_is_named(drawn: bytes) -> None:
    def change(writer: Any, _: Any) -> None:
        writer.root[MAKE.NameObject("/OpenAction")] = MAKE.DictionaryObject(
            {"/S": MAKE.NameObject("/Named"), "/N": MAKE.NameObject("/Print")}
        )
        writer.update_root()

    assert compare(updated(drawn, change), drawn).other_entries == ("/OpenAction",)


def test_an_outline_that_says_something_else_is_named(drawn: bytes) -> None:
    def change(writer: Any, _: Any) -> None:
        first = writer.root["/Outlines"]["/First"]
        first[MAKE.NameObject("/Title")] = MAKE.TextStringObject("Accepted")
        writer.update_container(first)

    assert compare(updated(drawn, change), drawn).other_entries == ("/Outlines",)


def test_a_drawing_that_another_build_of_the_library_packs_otherwise_shows_the_same(
    drawn: bytes, certified: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(zlib, "compress", partial(zlib.compress, level=1))
    found = compare(certified, draw_content(make_content()))
    assert len(draw_content(make_content())) > len(drawn)
    assert (found.other_pages, found.pages_with_additions, found.other_entries) == ((), (), ())


def test_a_file_that_only_begins_with_its_drawing_shows_what_its_last_table_leads_to(drawn: bytes) -> None:
    another = draw_content(make_content(owner="Tidewater Communications District Two"))
    shifted = re.sub(rb"(?<=\n)(\d{10})(?= 00000 n)", lambda one: b"%010d" % (int(one[1]) + len(drawn)), another)
    at = int(re.findall(rb"startxref\s+(\d+)", shifted)[-1])
    shifted = re.sub(rb"startxref\s+\d+", b"startxref\n%d" % (at + len(drawn)), shifted)
    assert compare(drawn + shifted, drawn).other_pages == (1, 2)


def test_a_page_taken_out_or_put_in_is_counted(drawn: bytes) -> None:
    def take_out(writer: Any, _: Any) -> None:
        tree = writer.root["/Pages"]
        tree[MAKE.NameObject("/Kids")] = MAKE.ArrayObject(list.__getitem__(tree["/Kids"], slice(1, None)))
        writer.update_container(tree)

    found = compare(updated(drawn, take_out), drawn)
    assert found.page_count == found.drawn_count - 1
    # Every page now stands where another should.
    assert len(found.other_pages) == found.page_count


def test_pages_in_another_order_are_named(drawn: bytes) -> None:
    def exchange(writer: Any, _: Any) -> None:
        kids = writer.root["/Pages"]["/Kids"]
        second, third = kids.raw_get(1), kids.raw_get(2)
        list.__setitem__(kids, 1, third)
        list.__setitem__(kids, 2, second)
        writer.update_container(kids)

    assert compare(updated(drawn, exchange), drawn).other_pages == (2, 3)


def test_a_tree_of_pages_that_leads_back_into_itself_is_named(drawn: bytes) -> None:
    def change(writer: Any, _: Any) -> None:
        kids = writer.root["/Pages"]["/Kids"]
        list.__setitem__(kids, 1, writer.root.raw_get("/Pages"))
        writer.update_container(kids)

    assert compare(updated(drawn, change, page=3), drawn).other_pages == (2,)


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7\n%%EOF\n", b"no PDF"])
def test_what_is_no_pdf_has_no_pages(drawn: bytes, content: bytes) -> None:
    with pytest.raises(UnreadablePagesError, match="cannot be read"):
        compare(content, drawn)
