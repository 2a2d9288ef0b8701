"""Pages are proven by drawing them again from the attached data: one digit on either side shows."""

import json
import random
from collections.abc import Callable, Iterator
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pytest
from pyhanko.pdf_utils.generic import NameObject, StreamObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from rich.console import Console

from service.vocabulary.canonical import canonical_json, digest_of
from tests.package_reading import draw_content
from tests.signed_documents import make_document
from tests.unit.package.judged import judged_route
from worker.commands import page_comparison
from worker.commands.page_comparison import PageComparison, Pages, check_data, compare_pages, comparison_lines
from worker.commands.verify import Checked, print_report
from worker.package.archive.document import pack
from worker.package.data.attachments import attachments
from worker.package.data.content import PAGES_FORM, PackageContent
from worker.package.pages.drawing import draw
from worker.package.view import build_view
from worker.signing.report import PackageReport

pytestmark = pytest.mark.slow

READ, PROBLEM = "The attached data cannot be read: ", "problems"


@pytest.fixture(scope="module")
def content() -> PackageContent:
    return judged_route()


def with_files(content: PackageContent, **changed: Callable[[Any], Any]) -> bytes:
    """Return the package with the pages of some content and other data attached, each file named without its ending."""
    files = dict(attachments(content))
    for name, change in changed.items():
        files[f"{name}.json"] = canonical_json(change(json.loads(files[f"{name}.json"])))
    return draw(build_view(content), attachments={name: pack((file,)) for name, file in files.items()})


def test_the_pages_of_a_package_are_what_its_data_give(content: PackageContent) -> None:
    found = compare_pages(draw_content(content))
    assert (found.pages, found.problems) == (Pages.AS_DRAWN, ())
    assert (found.pages_differing, found.first_page_differing) == (0, None)
    assert (found.drawn_by, found.pages_form) == (content.program, PAGES_FORM)
    assert found.audit_head is not None
    assert found.audit_head == content.audit
    assert list(comparison_lines(found)) == [
        f"  audit     head {content.audit.sequence}, {content.audit.hash}",
        f"  pages     all {found.page_count} are what the attached data give (form {PAGES_FORM}, by {content.program})",
    ]


def _another_reading(found: Any) -> Any:
    """Change one digit of one reading, and put every digest right again."""
    fibre = found["fibres"][2]
    reading = next(one for finding in fibre["findings"] for one in finding["readings"] if "value" in one)
    reading["value"] = f"{reading['value'][:-1]}{(int(reading['value'][-1]) + 1) % 10}"
    found["verdict"]["fibres"][2] = digest_of(fibre)
    return found | {"verdict_digest": digest_of(found["verdict"])}


def test_one_digit_changed_in_the_data_shows_on_the_page_that_prints_it(content: PackageContent) -> None:
    kept = json.loads(attachments(content)["findings.json"])
    digest = _another_reading(kept)["verdict_digest"]
    pdf = with_files(content, findings=_another_reading, package=lambda about: about | {"verdict_digest": digest})
    found = compare_pages(pdf)
    # The certificate prints the digest, a later page the reading.
    assert found.pages is Pages.OTHER
    assert found.first_page_differing == 1
    assert found.pages_differing is not None
    assert 2 <= found.pages_differing < (found.page_count or 0)
    assert found.problems[0] == (
        f"Page 1 is not what the attached data give; of {found.page_count} pages {found.pages_differing} differ."
    )
    said = f"  pages     NOT what the attached data give (form {PAGES_FORM}, by route-acceptance 0.0.0)"
    assert said in comparison_lines(found)


def test_one_digit_changed_on_a_page_shows(content: PackageContent) -> None:
    # The first page that prints the number of the first trace's loss.
    writer = IncrementalPdfFileWriter(BytesIO(draw_content(content)))
    printed = b"(0.400) Tj"
    for number in range(1, 30):
        reference, _ = writer.find_page_for_modification(number - 1)  # type: ignore[no-untyped-call]
        page = reference.get_object()
        if printed in (drawn := bytes(page["/Contents"].data)):
            break
    page[NameObject("/Contents")] = writer.add_object(
        StreamObject(stream_data=drawn.replace(printed, b"(0.100) Tj", 1))
    )
    writer.update_container(page)
    output = BytesIO()
    writer.write(output)  # type: ignore[no-untyped-call]
    found = compare_pages(output.getvalue())
    assert (found.pages, found.first_page_differing, found.pages_differing) == (Pages.OTHER, number, 1)


def test_data_that_contradict_themselves_are_named_though_the_pages_are_theirs(content: PackageContent) -> None:
    other: Any = {**content.verdict, "tolerated_dark": [1]}
    lying = draw_content(content.__class__(**{**vars(content), "verdict": other}))
    found = compare_pages(lying)
    assert found.pages is Pages.AS_DRAWN
    assert len(found.problems) >= 2
    assert found.problems[0].startswith("The digest of the attached verdict is ")
    assert check_data(lying).problems == found.problems


def test_pages_of_another_form_are_not_compared_and_that_is_said(
    content: PackageContent, monkeypatch: pytest.MonkeyPatch
) -> None:
    pdf = draw_content(content)
    monkeypatch.setattr(page_comparison, "PAGES_FORM", PAGES_FORM + 1)
    found = compare_pages(pdf)
    assert (found.pages, found.page_count) == (Pages.NOT_COMPARED, None)
    assert found.problems == ()
    assert list(comparison_lines(found))[-1] == (
        f"  pages     not compared with the attached data: route-acceptance 0.0.0 drew them in form {PAGES_FORM}, this "
        f"program draws form {PAGES_FORM + 1}"
    )
    assert check_data(pdf).problems == ()


@pytest.mark.parametrize("pdf", [b"", b"no PDF", b"%PDF-1.7\n%%EOF\n"])
def test_what_is_no_pdf_proves_nothing(pdf: bytes) -> None:
    [problem] = compare_pages(pdf).problems
    assert problem.startswith(READ)


def test_a_document_without_the_data_of_a_package_proves_nothing() -> None:
    found = compare_pages(make_document())
    assert found == PageComparison(problems=(f"{READ}package.json: it is not attached.",))


def test_a_form_of_data_that_is_not_known_still_says_what_made_it(content: PackageContent) -> None:
    found = compare_pages(with_files(content, findings=lambda _: {}))
    assert (found.drawn_by, found.pages) == (content.program, Pages.NOT_COMPARED)
    assert found.problems == (f"{READ}findings.json: it is no object with a list of fibres.",)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("package", lambda about: about | {"segments": ["nowhere"]}),
        ("findings", lambda found: found | {"verdict": found["verdict"] | {"segments": {}}}),
        ("criteria", lambda criteria: criteria | {"criteria": criteria["criteria"][:1]}),
    ],
)
def test_data_that_do_not_fit_together_give_a_sentence_and_no_trace(
    content: PackageContent, name: str, change: Callable[[Any], Any]
) -> None:
    found = compare_pages(with_files(content, **{name: change}))
    assert found.problems
    assert found.pages is not Pages.AS_DRAWN
    assert not any("\n" in problem for problem in found.problems)


def _places(document: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Give the way to each value of a document."""
    if not isinstance(document, dict | list):
        return
    for key, value in document.items() if isinstance(document, dict) else enumerate(document):
        yield (*path, key)
        yield from _places(value, (*path, key))


STRANGE: tuple[Any, ...] = (None, 1, -5, "x", "9999999999", [], {}, True, "\x1b[2J", 1e300)


@pytest.mark.parametrize("seed", range(8))
def test_whatever_stands_anywhere_in_the_data_the_answer_is_a_sentence(content: PackageContent, seed: int) -> None:
    chosen = random.Random(seed)
    for name, text in attachments(content).items():
        document = json.loads(text)
        *way, last = chosen.choice(list(_places(document)))
        place = document
        for step in way:
            place = place[step]
        place[last] = chosen.choice([one for one in STRANGE if one != place[last]])
        altered = {**attachments(content), name: canonical_json(document)}
        files = {one: pack([whole]) for one, whole in altered.items()}
        found = compare_pages(draw(build_view(content), attachments=files))
        # Much of a record is neither printed nor in a digest: the seal alone holds it, like the name of the maker.
        assert found.problems or name == "records.json" or last == "program", (name, way, last)
        assert not any("\n" in problem or len(problem) > 400 for problem in found.problems), found.problems


def test_nothing_in_a_file_moves_the_cursor() -> None:
    said = StringIO()
    report = PackageReport(sha256="0" * 64, problems=("It says \x1b[2J\x07.",))
    print_report(Console(file=said, force_terminal=True), Path("package.pdf"), Checked(report, PageComparison()))
    assert "It says \N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER}." in said.getvalue()
