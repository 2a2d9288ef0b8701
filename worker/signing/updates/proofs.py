"""The store of proofs in a document: certificates, revocation lists and answers, only ever added to."""

import re
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from asn1crypto import cms
from cryptography import x509
from cryptography.x509 import ocsp
from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, NullObject, Reference, StreamObject

from worker.signing.updates.update import MISSING, Explained, Update, plain, raw, raw_items

_LARGEST_BYTES = 1 << 24
_OF_STREAMS = frozenset({"/Length", "/Filter", "/DecodeParms"})
_OF_ONE_SIGNATURE = re.compile(r"/[0-9A-F]{40}")


def _is_timestamp(content: bytes) -> bool:
    return bool(cms.ContentInfo.load(content, strict=True)["content_type"].native == "signed_data")


# The library's parsers take one object from end to end, and nothing after it.
_LISTS: Mapping[str, Callable[[bytes], object]] = MappingProxyType(
    {
        "/Certs": x509.load_der_x509_certificate,
        "/CRLs": x509.load_der_x509_crl,
        "/OCSPs": ocsp.load_der_ocsp_response,
    }
)
_LISTS_OF_ONE = MappingProxyType({name.removesuffix("s"): parse for name, parse in _LISTS.items()})


def explain_proofs(update: Update) -> Explained:
    """Let the store of proofs have all that it had, and beside it nothing but proofs."""
    then, now = raw(update.before.root, "/DSS"), raw(update.after.root, "/DSS")
    if now is MISSING:
        yield from () if then is MISSING else ("takes the store of proofs away",)
        return
    old, new = update.then(then), update.now(now)
    yield from update.written(now)
    yield from _explain_lists(update, old, new, _LISTS)
    if set(new) - {"/Type", "/VRI", *_LISTS}:
        yield "puts something else into the store of proofs"
    yield from _explain_signatures(update, raw(old, "/VRI"), raw(new, "/VRI"))


def _explain_signatures(update: Update, then: Any, now: Any) -> Explained:
    """Let each signature have proofs named for it, which stay as they are."""
    old, new = update.then(then), update.now(now)
    if old is not MISSING and (new is MISSING or set(old) - set(new)):
        yield "takes proofs away"
    if new is MISSING:
        return
    yield from update.written(now)
    for name in new:
        before, value = raw(old, name), raw(new, name)
        if before is not MISSING and plain(before) == plain(value) and not update.written(value):
            continue
        one = update.now(value)
        is_new = before is MISSING and _OF_ONE_SIGNATURE.fullmatch(name) and isinstance(one, DictionaryObject)
        if not is_new or set(one) - {"/Type", "/TU", "/TS", *_LISTS_OF_ONE}:
            yield "changes the proofs of a signature"
            continue
        yield from update.added & update.written(value)
        yield from _explain_lists(update, MISSING, one, _LISTS_OF_ONE)
        yield from _proofs(update, [raw(one, "/TS")], _is_timestamp)


def _explain_lists(update: Update, old: Any, new: Any, lists: Mapping[str, Callable[[bytes], object]]) -> Explained:
    for name, parse in lists.items():
        value = raw(new, name)
        before = {plain(one) for one in raw_items(update.then(raw(old, name)))}
        after = [*raw_items(update.now(value))]
        if not before <= {plain(one) for one in after}:
            yield "takes proofs away"
        yield from update.written(value)
        yield from _proofs(update, after, parse)


def _proofs(update: Update, values: Iterable[Any], parse: Callable[[bytes], object]) -> Iterator[Reference]:
    """Give the new objects among these that are proofs: what is written and proves nothing stays unexplained."""
    for one in values:
        if isinstance(one, IndirectObject) and one.reference in update.added and _is_proof(update.now(one), parse):
            yield one.reference


def _is_proof(stream: Any, parse: Callable[[bytes], object]) -> bool:
    if not isinstance(stream, StreamObject) or set(stream) - _OF_STREAMS:
        return False
    try:
        parse(_content(stream))
    except (ValueError, TypeError, zlib.error):
        return False
    return True


def _content(stream: StreamObject) -> bytes:
    """Return what a stream holds, and refuse one that holds more behind its end."""
    packed = raw(stream, "/Filter")
    if packed is MISSING:
        return bytes(stream.encoded_data)
    if plain(packed) not in {("name", "/FlateDecode"), ("array", (("name", "/FlateDecode"),))} or (
        "/DecodeParms" in stream and not isinstance(stream["/DecodeParms"], NullObject)
    ):
        raise ValueError("packed in another way")
    unpacker = zlib.decompressobj()
    content = unpacker.decompress(stream.encoded_data, _LARGEST_BYTES)
    if not unpacker.eof or unpacker.unused_data.strip(b"\r\n"):
        raise ValueError("not one whole stream")
    return content
