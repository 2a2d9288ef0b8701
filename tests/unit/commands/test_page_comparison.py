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
from worker.commands.page_comparison import PageProof, Pages, proof_lines, prove_data, prove_pages
from worker.commands.verify import Checked, print_report
from worker.package.archive.document import pack
from worker.package.data.attachment_forms import PAGES_FORM
from worker.package.data.attachments import attachments
from worker.package.data.content import PackageContent
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
    proof = prove_pages(draw_content(content))
    assert (proof.pages, proof.problems) == (Pages.AS_DRAWN, ())
    assert (proof.pages_differing, proof.first_page_differing) == (0, None)
    assert (proof.drawn_by, proof.pages_form) == (content.program, PAGES_FORM)
    assert proof.audit_head is not None
    assert (proof.audit_head.sequence, proof.audit_head.hash) == (content.audit_sequence, content.audit_hash)
    assert list(proof_lines(proof)) == [
        f"  audit     head {content.audit_sequence}, {content.audit_hash}",
        f"  pages     all {proof.page_count} are what the attached data give (form {PAGES_FORM}, by {content.program})",
    ]


def _another_reading(found: Any) -> Any:
    """Change one digit of one reading, and put every digest right again."""
    fibre = found["fibres"][2]
    reading = next(one for finding in fibre["findings"] for one in finding["readings"] if "value" in one)
    reading["value"] = f"{reading['value'][:-1]}{(int(reading['value'][-1]) + 1) % 10}"
    found["verdict"]["fibres"][2] = digest_of(fibre)
    return found | {"verdict_digest": digest_of(found["verdict"])}


def test_one_digit_changed_in_the_data_shows_on_the_page_that_prints_it(content: PackageContent) -> None:
    found = json.loads(attachments(content)["findings.json"])
    digest = _another_reading(found)["verdict_digest"]
    pdf = with_files(content, findings=_another_reading, package=lambda about: about | {"verdict_digest": digest})
    proof = prove_pages(pdf)
    # The certificate prints the digest, a later page the reading.
    assert proof.pages is Pages.OTHER
    assert proof.first_page_differing == 1
    assert proof.pages_differing is not None
    assert 2 <= proof.pages_differing < (proof.page_count or 0)
    assert proof.problems[0] == (
        f"Page 1 is not what the attached data give; of {proof.page_count} pages {proof.pages_differing} differ."
    )
    said = f"  pages     NOT what the attached data give (form {PAGES_FORM}, by route-acceptance 0.0.0)"
    assert said in proof_lines(proof)


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
    proof = prove_pages(output.getvalue())
    assert (proof.pages, proof.first_page_differing, proof.pages_differing) == (Pages.OTHER, number, 1)


def test_data_that_contradict_themselves_are_named_though_the_pages_are_theirs(content: PackageContent) -> None:
    other: Any = {**content.verdict, "tolerated_dark": [1]}
    lying = draw_content(content.__class__(**{**vars(content), "verdict": other}))
    proof = prove_pages(lying)
    assert proof.pages is Pages.AS_DRAWN
    assert len(proof.problems) >= 2
    assert proof.problems[0].startswith("The digest of the attached verdict is ")
    assert prove_data(lying).problems == proof.problems


def test_pages_of_another_form_are_not_compared_and_that_is_said(
    content: PackageContent, monkeypatch: pytest.MonkeyPatch
) -> None:
    pdf = draw_content(content)
    monkeypatch.setattr(page_comparison, "PAGES_FORM", PAGES_FORM + 1)
    proof = prove_pages(pdf)
    assert (proof.pages, proof.page_count) == (Pages.NOT_COMPARED, None)
    assert proof.problems == ()
    assert list(proof_lines(proof))[-1] == (
        f"  pages     not compared with the attached data: route-acceptance 0.0.0 drew them in form {PAGES_FORM}, this "
        f"program draws form {PAGES_FORM + 1}"
    )
    assert prove_data(pdf).problems == ()


@pytest.mark.parametrize("pdf", [b"", b"no PDF", b"%PDF-1.7\n%%EOF\n"])
def test_what_is_no_pdf_proves_nothing(pdf: bytes) -> None:
    [problem] = prove_pages(pdf).problems
    assert problem.startswith(READ)


def test_a_document_without_the_data_of_a_package_proves_nothing() -> None:
    proof = prove_pages(make_document())
    assert proof == PageProof(problems=(f"{READ}package.json: it is not attached.",))


def test_a_form_of_data_that_is_not_known_still_says_what_made_it(content: PackageContent) -> None:
    proof = prove_pages(with_files(content, findings=lambda _: {}))
    assert (proof.drawn_by, proof.pages) == (content.program, Pages.NOT_COMPARED)
    assert proof.problems == (f"{READ}findings.json: it is no object with a list of fibres.",)


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
    proof = prove_pages(with_files(content, **{name: change}))
    assert proof.problems
    assert proof.pages is not Pages.AS_DRAWN
    assert not any("\n" in problem for problem in proof.problems)


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
        proof = prove_pages(draw(build_view(content), attachments=files))
        # Much of a record is neither printed nor in a digest: the seal alone holds it, like the name of the maker.
        assert proof.problems or name == "records.json" or last == "program", (name, way, last)
        assert not any("\n" in problem or len(problem) > 400 for problem in proof.problems), proof.problems


def test_nothing_in_a_file_moves_the_cursor() -> None:
    said = StringIO()
    report = PackageReport(sha256="0" * 64, problems=("It says \x1b[2J\x07.",))
    print_report(Console(file=said, force_terminal=True), Path("package.pdf"), Checked(report, PageProof()))
    assert "It says \N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER}." in said.getvalue()
