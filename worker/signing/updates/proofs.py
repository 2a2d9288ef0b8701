"""The store of proofs in a document: certificates, revocation lists and answers, only ever added to."""

import re
import zlib
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from asn1crypto import cms
from cryptography import x509
from cryptography.x509 import ocsp
from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, NullObject, Reference, StreamObject

from worker.signing.updates.update import MISSING, Explained, Update, key_of, plain, raw, raw_items

_LARGEST_BYTES = 1 << 24
_OF_STREAMS = frozenset({"/Length", "/Filter", "/DecodeParms"})
_OF_ONE_SIGNATURE = re.compile(r"/[0-9A-F]{40}")


def _is_timestamp(content: bytes) -> bool:
    return bool(cms.ContentInfo.load(content, strict=True)["content_type"].native == "signed_data")


# The library's parsers take one object from end to end, and nothing after it.
_KINDS: Mapping[str, Callable[[bytes], object]] = MappingProxyType(
    {
        "/Certs": x509.load_der_x509_certificate,
        "/CRLs": x509.load_der_x509_crl,
        "/OCSPs": ocsp.load_der_ocsp_response,
        "/Cert": x509.load_der_x509_certificate,
        "/CRL": x509.load_der_x509_crl,
        "/OCSP": ocsp.load_der_ocsp_response,
        "/TS": _is_timestamp,
    }
)
_LISTS, _LISTS_OF_ONE = ("/Certs", "/CRLs", "/OCSPs"), ("/Cert", "/CRL", "/OCSP")


def explain_proofs(update: Update) -> Explained:
    """Let the store of proofs have all that it had, and beside it nothing but proofs."""
    then, now = raw(update.before.root, "/DSS"), raw(update.after.root, "/DSS")
    if now is MISSING:
        return Explained(problems=() if then is MISSING else ("takes the store of proofs away",))
    old, new = update.then(then), update.now(now)
    objects, problems = _explain_lists(update, old, new, _LISTS)
    strange = set(new) - {"/Type", "/VRI", *_LISTS}
    if strange:
        problems = (*problems, "puts something else into the store of proofs")
    more, worse = _explain_signatures(update, raw(old, "/VRI"), raw(new, "/VRI"))
    return Explained(update.written(now) | objects | more, (*problems, *worse))


def _explain_signatures(update: Update, then: Any, now: Any) -> Explained:
    """Let each signature have proofs named for it, which stay as they are."""
    old, new = update.then(then), update.now(now)
    if new is MISSING:
        return Explained(problems=() if old is MISSING else ("takes proofs away",))
    objects, problems = update.written(now), []
    for name in new:
        value = raw(new, name)
        if raw(old, name) is not MISSING and plain(raw(old, name)) == plain(value) and not update.written(value):
            continue
        one = update.now(value)
        is_new = raw(old, name) is MISSING and _OF_ONE_SIGNATURE.fullmatch(name) and isinstance(one, DictionaryObject)
        if not is_new or set(one) - {"/Type", "/TU", "/TS", *_LISTS_OF_ONE}:
            problems.append("changes the proofs of a signature")
            continue
        more, worse = _explain_lists(update, MISSING, one, _LISTS_OF_ONE)
        stamp = [raw(one, "/TS")] if "/TS" in one else []
        objects |= (update.added & update.written(value)) | more | _proofs(update, stamp, kind="/TS")
        problems += worse
    if old is not MISSING and set(old) - set(new):
        problems.append("takes proofs away")
    return Explained(objects, tuple(problems))


def _explain_lists(update: Update, old: Any, new: Any, kinds: tuple[str, ...]) -> Explained:
    objects: frozenset[Reference] = frozenset()
    problems: list[str] = []
    for kind in kinds:
        value = raw(new, kind)
        before = {plain(one) for one in _items(update.then(raw(old, kind)))}
        after = [*_items(update.now(value))]
        if not before <= {plain(one) for one in after}:
            problems.append("takes proofs away")
        objects |= update.written(value) | _proofs(update, after, kind=kind)
    # What is written and proves nothing stays unexplained.
    return Explained(objects, tuple(problems))


def _items(value: Any) -> Iterator[Any]:
    if value is not MISSING and not isinstance(value, NullObject):
        yield from raw_items(value)


def _proofs(update: Update, values: list[Any], *, kind: str) -> frozenset[Reference]:
    new = [one for one in values if isinstance(one, IndirectObject) and key_of(one) in update.added]
    return frozenset(key_of(one) for one in new if _is_proof(update.now(one), _KINDS[kind]))


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
