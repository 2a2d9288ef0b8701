"""What is written after the seal is a signature or a time stamp and what these need; whatever else is named."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils import generic

from service.vocabulary.signatures import SignatureLevel
from tests.signed_documents import Signed, make_signed, time_stamped, unexplained_in, updated
from tests.signed_forms import BOXES
from tests.signing_people import Signatory, make_signatory, sign_as
from worker.signing.check.verify import verify
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD
from worker.signing.report import PackageReport
from worker.signing.trust.role_trust import RoleTrust

pytestmark = pytest.mark.slow
# Parts of the library have no types.
pdf: Any = generic
NOW = datetime.now(UTC)
Change = Callable[[Any], None]
BLANK = b"\x00\t\n\x0c\r "


@pytest.fixture(scope="module")
def archived(tmp_path_factory: pytest.TempPathFactory) -> Signed:
    return make_signed(tmp_path_factory.mktemp("updates") / "authority", now=NOW, level=SignatureLevel.B_LTA)


@pytest.fixture(scope="module")
def engineer() -> Signatory:
    return make_signatory()


def name(text: str) -> Any:
    return pdf.pdf_name(text)


def stamped(content: bytes, signed: Signed) -> bytes:
    return time_stamped(content, signed.authority, now=NOW)


def check(content: bytes, signed: Signed, engineer: Signatory | None = None) -> PackageReport:
    people = [] if engineer is None else [engineer.certificate]
    return verify(content, trust=RoleTrust(service=signed.trust, engineer=people), now=NOW + timedelta(minutes=1))


def _info(writer: Any, key: str, value: Any) -> None:
    writer.trailer["/Info"][name(key)] = value
    writer.update_container(writer.trailer["/Info"])


def _text(text: str) -> Any:
    return pdf.TextStringObject(text)


def _xmp(writer: Any, change: Callable[[bytes], bytes]) -> None:
    stream = writer.root["/Metadata"]
    changed = change(bytes(stream.data))
    assert changed != stream.data
    entries = {name("/Type"): name("/Metadata"), name("/Subtype"): name("/XML")}
    writer.root[name("/Metadata")] = writer.add_object(pdf.StreamObject(entries, stream_data=changed))
    writer.update_root()


def _comment(found: bytes) -> bytes:
    return found.replace(b"</rdf:RDF>", b"<!-- hidden --></rdf:RDF>")


def _text_between(found: bytes) -> bytes:
    return found.replace(b"</rdf:RDF>", b"hidden</rdf:RDF>")


def _source(found: bytes) -> bytes:
    return re.sub(rb"pdf:Producer=", b'pdf:Source="kept" pdf:Producer=', found)


def _producer(producer: bytes) -> Callable[[bytes], bytes]:
    return lambda found: re.sub(rb'(pdf:Producer=")[^"]*', rb"\1" + producer, found)


def _store(writer: Any, kind: str, content: bytes, **entries: Any) -> None:
    stream = pdf.StreamObject({name(f"/{key}"): value for key, value in entries.items()}, stream_data=content)
    store = dict(writer.root["/DSS"]) if "/DSS" in writer.root else {}
    old = _items(store[kind].get_object()) if kind in store else []
    store[name(kind)] = pdf.ArrayObject([*old, writer.add_object(stream)])
    writer.root[name("/DSS")] = writer.add_object(pdf.DictionaryObject(store))
    writer.update_root()


def _items(array: Any) -> list[Any]:
    return [array.raw_get(number) for number in range(len(array))]


def _field(writer: Any, title: str) -> Any:
    [field] = [
        one.get_object() for one in _items(writer.root["/AcroForm"]["/Fields"]) if one.get_object()["/T"] == title
    ]
    return field


def _fewer_proofs(writer: Any) -> None:
    store = pdf.DictionaryObject({name("/Type"): name("/DSS")})
    writer.root[name("/DSS")] = writer.add_object(store)
    writer.update_root()


def _unused(writer: Any) -> None:
    writer.add_object(pdf.StreamObject(stream_data=b"whatever"))


def _unused_dictionary(writer: Any) -> None:
    writer.add_object(pdf.DictionaryObject({name("/Secret"): _text("kept")}))


def _catalog(writer: Any) -> None:
    writer.root[name("/PieceInfo")] = pdf.DictionaryObject({name("/X"): _text("kept")})
    writer.update_root()


def _extensions(writer: Any) -> None:
    extensions = {name("/HIDE"): pdf.DictionaryObject({name("/Text"): _text("kept")})}
    writer.root[name("/Extensions")] = pdf.DictionaryObject(extensions)
    writer.update_root()


def _trailer(writer: Any) -> None:
    writer.trailer[name("/Secret")] = writer.add_object(_text("kept"))


def _version(writer: Any) -> None:
    writer.root[name("/Version")] = name("/hidden.text")
    writer.update_root()


CHANGES: dict[str, tuple[Change, str]] = {
    "title": (lambda w: _info(w, "/Title", _text("Another")), "changes /Title of the document's information"),
    "new entry": (lambda w: _info(w, "/Note", _text("kept")), "changes /Note of the document's information"),
    "long name": (lambda w: _info(w, "/Producer", _text("x" * 201)), "writes something else than a date and"),
    "no name": (
        lambda w: _info(w, "/Producer", pdf.ArrayObject([_text("x")])),
        "writes something else than a date and",
    ),
    "no date": (lambda w: _info(w, "/ModDate", _text("D:2026 and more")), "writes something else than a date and"),
    "metadata": (lambda w: _xmp(w, _source), "changes the document's metadata beyond a date and a tool's name"),
    "comment": (lambda w: _xmp(w, _comment), "changes the document's metadata beyond a date and a tool's name"),
    "text": (lambda w: _xmp(w, _text_between), "changes the document's metadata beyond a date and a tool's name"),
    "long tool": (
        lambda w: _xmp(w, _producer(b"x" * 300)),
        "changes the document's metadata beyond a date and a tool's name",
    ),
    "no proof": (lambda w: _store(w, "/Certs", b"no certificate"), "adds what nothing of its signature needs"),
    "no list": (lambda w: _store(w, "/CRLs", b"0\x03\x02\x01\x00"), "adds what nothing of its signature needs"),
    "unused stream": (_unused, "adds what nothing of its signature needs (object "),
    "unused dictionary": (_unused_dictionary, "adds what nothing of its signature needs (object "),
    "catalog": (_catalog, "changes /PieceInfo of the catalog"),
    "extensions": (_extensions, "changes /Extensions of the catalog"),
    "version": (_version, "changes /Version of the catalog"),
    "trailer": (_trailer, "changes /Secret of the trailer"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_what_is_changed_under_a_later_time_stamp_is_named(signed: Signed, change: str) -> None:
    make, wanted = CHANGES[change]
    report = check(stamped(updated(signed.countersigned, make), signed), signed)
    assert any(f"Update 2 after the seal {wanted}" in one for one in report.problems), report.problems


@pytest.mark.parametrize("change", CHANGES)
def test_what_is_changed_inside_a_persons_own_signature_is_named(
    signed: Signed, engineer: Signatory, change: str
) -> None:
    make, wanted = CHANGES[change]
    content = updated(signed.certified, make)
    report = check(sign_as(engineer, content, field=ENGINEER_FIELD), signed, engineer)
    assert any(f"Update 1 after the seal {wanted}" in one for one in report.problems), report.problems


def test_signatures_and_time_stamps_alone_are_explained(signed: Signed, archived: Signed, engineer: Signatory) -> None:
    for content in (
        signed.countersigned,
        archived.countersigned,
        sign_as(engineer, signed.certified, field=ENGINEER_FIELD),
        stamped(stamped(signed.countersigned, signed), signed),
    ):
        assert unexplained_in(content) == []


def test_what_tools_date_and_put_their_name_to_is_no_problem(signed: Signed) -> None:
    def change(writer: Any) -> None:
        _info(writer, "/ModDate", _text("D:20260504120000+00'00'"))
        _info(writer, "/Producer", _text("Some tool 3.1"))
        _xmp(writer, _producer(b"Some tool 3.1"))

    assert unexplained_in(stamped(updated(signed.countersigned, change), signed)) == []


def test_proofs_may_be_added_and_not_taken_away(archived: Signed) -> None:
    proof = archived.authority.root.public_bytes(Encoding.DER)
    assert unexplained_in(updated(archived.countersigned, lambda w: _store(w, "/Certs", proof))) == []
    for trail in (b"\n", b"kept"):
        longer = proof + trail
        problems = unexplained_in(updated(archived.countersigned, lambda w: _store(w, "/Certs", longer)))  # noqa: B023
        assert any("adds what nothing of its signature needs" in one for one in problems)
    hung = unexplained_in(updated(archived.countersigned, lambda w: _store(w, "/Certs", proof, Note=_text("kept"))))
    assert any("adds what nothing of its signature needs" in one for one in hung)
    assert any("takes proofs away" in one for one in unexplained_in(updated(archived.countersigned, _fewer_proofs)))


def _drawn(entry: str) -> Change:
    def change(writer: Any) -> None:
        field = _field(writer, ENGINEER_FIELD)
        form = {
            name("/Type"): name("/XObject"),
            name("/Subtype"): name("/Form"),
            name("/BBox"): pdf.ArrayObject(map(pdf.NumberObject, (0, 0, 200, 60))),
            name(entry): pdf.DictionaryObject({name("/X"): writer.add_object(pdf.StreamObject(stream_data=b"kept"))}),
        }
        drawing = writer.add_object(pdf.StreamObject(form, stream_data=b"0 0 200 60 re f"))
        field[name("/AP")] = pdf.DictionaryObject({name("/N"): drawing})
        writer.update_container(field)

    return change


@pytest.mark.parametrize("entry", ["/PieceInfo", "/Metadata", "/AF", "/OC", "/Ref"])
def test_what_hangs_on_a_signatures_drawing_is_named(signed: Signed, engineer: Signatory, entry: str) -> None:
    # As a tool that draws and signs in one update: the drawing's update is put in as its own, the rules are the same.
    problems = unexplained_in(sign_as(engineer, updated(signed.certified, _drawn(entry)), field=ENGINEER_FIELD))
    assert any("of a field" in one or f"with {entry}" in one for one in problems)


def _between_objects(content: bytes, update: int, hidden: bytes) -> bytes:
    """Put bytes before the table of an unsigned update, and have the table found where it is then."""
    at = content.rindex(b"xref\n", 0, content.rindex(b"startxref"))
    moved = content[:at] + hidden + content[at:]
    return re.sub(rb"startxref\s+\d+", b"startxref\n%d" % (at + len(hidden)), moved[update:]).join(
        [moved[:update], b""]
    )


@pytest.mark.parametrize("hidden", [b"whatever\n", b"% a note\n", b"99 0 obj\n<< /Secret (kept) >>\nendobj\n"])
def test_bytes_between_the_objects_of_an_update_are_named(signed: Signed, hidden: bytes) -> None:
    plain = updated(signed.countersigned, lambda w: _info(w, "/ModDate", _text("D:20260504120000Z")))
    assert unexplained_in(plain) == []
    problems = unexplained_in(_between_objects(plain, len(signed.countersigned), hidden))
    assert problems == [f"Update 2 after the seal holds {len(hidden.strip(BLANK))} bytes that belong to no object."]


def test_a_signature_in_the_place_of_one_person_leaves_the_others_as_it_was(
    signed: Signed, engineer: Signatory
) -> None:
    def grow(writer: Any) -> None:
        field = _field(writer, CONTRACTOR_FIELD)
        field[name("/Rect")] = pdf.ArrayObject(map(pdf.NumberObject, BOXES[ENGINEER_FIELD]))
        writer.update_container(field)

    problems = unexplained_in(sign_as(engineer, updated(signed.certified, grow), field=ENGINEER_FIELD))
    assert any("changes /Rect of a field" in one for one in problems)
