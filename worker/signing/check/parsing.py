"""Reading a PDF that anybody may have made."""

import zlib
from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256
from io import BytesIO
from typing import Any, NamedTuple

from asn1crypto import cms, parser
from cryptography.exceptions import UnsupportedAlgorithm
from pyhanko.pdf_utils.generic import DictionaryObject, StreamObject
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import EmbeddedPdfSignature
from pyhanko.sign.validation.generic_cms import extract_tst_data_iter

from worker.signing.errors import AttachmentNotFoundError

# What data that anybody may have made ends in, where code takes for granted that it fits together. Of a package changed
# at random the libraries raised, beside their own: ValueError (lengths, text that is no UTF-8), TypeError and
# AttributeError (a part of another kind, an attribute never set), InvalidOperation (a number that is none).
UNFITTING: tuple[type[Exception], ...] = (
    ValueError,
    TypeError,
    LookupError,
    AttributeError,
    ArithmeticError,
    AssertionError,
    RecursionError,
)
# Only around what reads files of others: around our own signing these would hide our faults.
UNREADABLE: tuple[type[Exception], ...] = (
    *UNFITTING,
    PdfError,
    # A kind of key that the library does not know.
    UnsupportedAlgorithm,
    # A kind of compression or encryption that the library does not know.
    NotImplementedError,
    OSError,
    # The XML parsers' errors, from the metadata.
    SyntaxError,
    zlib.error,
)

# Writers balance the tree of names; a deeper one was made to exhaust us.
MAX_NAME_TREE_DEPTH = 12
# A few kilobytes can hold a gigabyte: an attachment is digested in parts of this size.
PART_BYTES = 1 << 20


def read_attachment(pdf: bytes, name: str) -> bytes:
    """Return the attachment with this name."""
    try:
        content = attachment_of(PdfFileReader(BytesIO(pdf)), name)
    except UNREADABLE as error:
        raise AttachmentNotFoundError(f"The document cannot be read: {error}.") from error
    if content is None:
        raise AttachmentNotFoundError(f"The document has no attachment named {name}.")
    return content


class Attachment(NamedTuple):
    """What is attached, and its compression as it stands in the file, where that is one plain stream to its end."""

    content: bytes
    compressed: bytes | None


def read_attachments(pdf: bytes) -> dict[str, Attachment]:
    """Return every attachment by its name."""
    try:
        return {name: _attachment(stream) for name, stream in _attached_streams(PdfFileReader(BytesIO(pdf)))}
    except UNREADABLE as error:
        raise AttachmentNotFoundError(f"The document cannot be read: {error}.") from error


def _attachment(stream: StreamObject) -> Attachment:
    if not _is_plainly_compressed(stream):
        return Attachment(bytes(stream.data), None)
    unpacker = zlib.decompressobj()
    content = unpacker.decompress(stream.encoded_data) + unpacker.flush()
    if not unpacker.eof:
        raise ValueError("an attachment is cut short")
    return Attachment(content, None if unpacker.unused_data else bytes(stream.encoded_data))


def entry(dictionary: DictionaryObject, name: str) -> Any:
    """Return an entry, following a reference as the library's `get` does not; `None` where there is none."""
    try:
        return dictionary[name]
    except KeyError:
        return None


def attachment_of(reader: PdfFileReader, name: str) -> bytes | None:
    """Return the attachment with this name, and unpack no other: of a large package they take ten times its size."""
    return next((bytes(stream.data) for found, stream in _attached_streams(reader) if found == name), None)


def _attached_streams(reader: PdfFileReader) -> Iterator[tuple[str, StreamObject]]:
    names = entry(reader.root, "/Names")
    tree = None if names is None else entry(names, "/EmbeddedFiles")
    if tree is not None:
        yield from _walk_name_tree(tree, depth=0)


def attachment_digests(reader: PdfFileReader) -> dict[str, str]:
    """Return the SHA-256 of each attachment by its name."""
    digests: dict[str, str] = {}
    for name, stream in _attached_streams(reader):
        if name in digests:
            raise ValueError(f"two attachments are named {name}")
        digests[name] = _digest_of(stream)
    return digests


def _digest_of(stream: StreamObject) -> str:
    """Return the SHA-256 of what a stream holds, part by part where it is plainly compressed: it may be large."""
    if not _is_plainly_compressed(stream):
        return sha256(stream.data).hexdigest()
    digest, unpacker, rest = sha256(), zlib.decompressobj(), stream.encoded_data
    while rest and not unpacker.eof:
        digest.update(unpacker.decompress(rest, PART_BYTES))
        rest = unpacker.unconsumed_tail
    digest.update(unpacker.flush())
    if not unpacker.eof:
        raise ValueError("an attachment is cut short")
    return digest.hexdigest()


def _is_plainly_compressed(stream: StreamObject) -> bool:
    return entry(stream, "/Filter") == "/FlateDecode" and entry(stream, "/DecodeParms") is None


def own_contents(signature: EmbeddedPdfSignature) -> bytes:
    """Return the signature in its place, without what fills the place up."""
    contents = bytes(signature.pkcs7_content)
    return contents[: parser.peek(contents)]


def attached_token(signature: EmbeddedPdfSignature) -> cms.SignedData | None:
    """Return the time stamp on a signature itself, where there is one."""
    return next(extract_tst_data_iter(signature.signer_info, signed=False), None)


def stated_time(token: cms.SignedData) -> datetime:
    """Return the time that a time stamp states, whoever made it."""
    stated: datetime = token["encap_content_info"]["content"].parsed["gen_time"].native
    return stated


def fills_its_place_plainly(signature: EmbeddedPdfSignature, *, pdf: bytes) -> bool:
    """Tell whether the gap in the signed bytes holds this signature, zeros, and nothing else."""
    start, first_length, second_start, second_length = (int(number) for number in signature.byte_range)
    gap = pdf[first_length:second_start]
    contents, own = bytes(signature.pkcs7_content), own_contents(signature)
    is_plain_range = start == 0 and second_start + second_length <= len(pdf)
    # In one case of letters throughout: two of them would be a way to write what nobody sees.
    is_plain_gap = gap in {b"<%s>" % contents.hex().encode(), b"<%s>" % contents.hex().upper().encode()}
    return is_plain_range and is_plain_gap and not contents[len(own) :].strip(b"\0")


def _walk_name_tree(node: DictionaryObject, *, depth: int) -> Iterator[tuple[str, StreamObject]]:
    if depth > MAX_NAME_TREE_DEPTH:
        raise ValueError("the tree of attachment names is too deep")
    pairs = entry(node, "/Names") or ()
    for index in range(0, len(pairs), 2):
        specification = pairs[index + 1]
        name = entry(specification, "/UF") or entry(specification, "/F") or pairs[index]
        yield str(name), specification["/EF"]["/F"]
    children = entry(node, "/Kids") or ()
    for index in range(len(children)):
        yield from _walk_name_tree(children[index], depth=depth + 1)
