"""Whether a signature's structure is the one encoding of what it says, and carries nothing that nobody signed.

Parts of it are under no signature: how it is encoded, what stands beside the signer, attributes that are added later,
the certificates sent along. Each of them has to be what it must be. Beyond that only the file's SHA-256 tells two
signatures apart: an ECDSA signature has a twin that verifies as well, and some algorithms have two names.
"""

from collections.abc import Iterator, Sequence

from asn1crypto import cms, core, parser, x509
from cryptography import x509 as checked_x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from pyhanko.sign.validation.status import SignatureStatus

from worker.signing.trust.certificates import from_asn1

_DEEPEST = 40
_UNIVERSAL = 0
_BOOLEAN, _INTEGER, _SET = 1, 2, 17
_MOST_CERTIFICATES = 20


def cms_problems(
    content: bytes, *, of_signer: SignatureStatus | None, of_time: SignatureStatus | None, is_token: bool = False
) -> Iterator[str]:
    """Say what is wrong with a signature's structure, or a time stamp's; each continues the sentence about it.

    What was found of the signer and of the time stamp tells on which certificates they rest, up to a trusted one.
    """
    if not is_der(content):
        yield "is not encoded in the one way that the standard has"
        return
    signed: cms.SignedData = cms.ContentInfo.load(content, strict=True)["content"]
    [signer] = signed["signer_infos"]
    yield from _head_problems(signed, signer, is_token=is_token)
    yield from _certificate_problems(signed, signer, path=_path(of_time if is_token else of_signer))
    yield from _added_problems(signer, of_time=of_time, is_token=is_token)


def is_der(content: bytes, *, depth: int = 0) -> bool:
    """Tell whether bytes are values one after another, each in its shortest encoding, and sets in their order."""
    try:
        return all(_is_value(*one, depth=depth) for one in _values(content))
    except ValueError:
        return False


def _values(content: bytes) -> Iterator[tuple[int, int, int, bytes, bytes]]:
    """Give the values that bytes hold, each with its whole encoding at the end; refuse another encoding than DER's."""
    while content:
        kind, method, tag, header, inner, trailer = parser.parse(content)
        # The parser takes any length that BER allows and emits the one of DER; a trailer ends a length left open.
        whole = content[: len(header) + len(inner)]
        if trailer or parser.emit(kind, method, tag, inner) != whole:
            raise ValueError("not in its shortest encoding")
        yield kind, method, tag, inner, whole
        content = content[len(whole) :]


def _is_value(kind: int, method: int, tag: int, inner: bytes, _: bytes, *, depth: int) -> bool:
    # What holds other values is looked into, so that nothing hides beneath; X.690, 11.6 orders the values of a set.
    if method:
        if depth == _DEEPEST or not is_der(inner, depth=depth + 1):
            return False
        encoded = [whole for *_, whole in _values(inner)] if (kind, tag) == (_UNIVERSAL, _SET) else []
        return encoded == sorted(encoded)
    if (kind, tag) == (_UNIVERSAL, _BOOLEAN):
        return inner in {b"\x00", b"\xff"}
    if (kind, tag) == (_UNIVERSAL, _INTEGER):
        # X.690, 8.3.2: the first nine bits are not all alike.
        return len(inner) == 1 or (len(inner) > 1 and not _is_padded(inner))
    return True


def _is_padded(number: bytes) -> bool:
    return (number[0] == 0 and number[1] < 0x80) or (number[0] == 0xFF and number[1] >= 0x80)


def _head_problems(signed: cms.SignedData, signer: cms.SignerInfo, *, is_token: bool) -> Iterator[str]:
    # RFC 5652, 5.1 and 5.3: which version stands there follows from what is in it.
    is_by_key = signer["sid"].name == "subject_key_identifier"
    content_type = signed["encap_content_info"]["content_type"].native
    wanted = "v3" if is_by_key or content_type != "data" else "v1"
    versions = signed["version"].native, signer["version"].native
    if versions != (wanted, "v3" if is_by_key else "v1"):
        yield "states another version than what it holds"
    if content_type != ("tst_info" if is_token else "data"):
        yield "is about another kind of content"
    if not is_token and _is_there(signed["encap_content_info"]["content"]):
        yield "brings content of its own along"
    digests = [one.dump() for one in signed["digest_algorithms"]]
    if digests != [signer["digest_algorithm"].dump()]:
        yield "names digests that it does not use"
    if _is_there(signed["crls"]):
        yield "brings revocation lists along outside of the document's proofs"


def _certificate_problems(
    signed: cms.SignedData, signer: cms.SignerInfo, *, path: Sequence[x509.Certificate]
) -> Iterator[str]:
    if any(one.name != "certificate" for one in signed["certificates"]):
        yield "brings something else than certificates along"
        return
    brought: list[x509.Certificate] = [one.chosen for one in signed["certificates"]]
    # Some tools send the signer's own along twice.
    own = next((number for number, one in enumerate(brought) if _is_meant(one, signer["sid"])), None)
    if own is not None and brought[own].dump() in {one.dump() for one in brought[own + 1 :]}:
        del brought[own]
    if len(brought) > _MOST_CERTIFICATES or not _are_a_chain(brought, signer["sid"], path=path):
        yield "brings certificates along that do not lead up from its own"


def _are_a_chain(
    brought: Sequence[x509.Certificate], identifier: cms.SignerIdentifier, *, path: Sequence[x509.Certificate]
) -> bool:
    """Tell whether all certificates lead up from the signer's, none there twice and none that could be another.

    An issuer's signature is over all but itself of a certificate, so each is trusted as it is or issued by one at hand.
    """
    own = next((one for one in brought if _is_meant(one, identifier)), None)
    if own is None or len({one.dump() for one in brought}) != len(brought):
        return False
    # Upwards from the signer's: a certificate that issued none of these belongs to somebody else's chain.
    reached, waiting = {own.dump()}, [own]
    while waiting:
        below = waiting.pop()
        for one in brought:
            if one.dump() not in reached and _has_issued(one, below):
                reached.add(one.dump())
                waiting.append(one)
    known, at_hand = {one.dump() for one in path}, [*brought, *path]
    # Where nobody is trusted there is nothing to prove it by, and that is said already.
    are_proven = not path or all(
        one.dump() in known or any(_has_issued(other, one) for other in at_hand) for one in brought
    )
    return len(reached) == len(brought) and are_proven


def _is_meant(certificate: x509.Certificate, identifier: cms.SignerIdentifier) -> bool:
    if identifier.name == "subject_key_identifier":
        return bool(certificate.key_identifier == identifier.native)
    named = identifier.chosen
    # Byte for byte: names are the same to the library in either case of letters.
    is_issuer = named["issuer"].dump() == certificate.issuer.dump()
    return bool(is_issuer and named["serial_number"].native == certificate.serial_number)


def _has_issued(issuer: x509.Certificate, certificate: x509.Certificate) -> bool:
    try:
        from_asn1(certificate).verify_directly_issued_by(from_asn1(issuer))
    except (ValueError, TypeError, InvalidSignature, UnsupportedAlgorithm, checked_x509.InvalidVersion):
        return False
    return True


def _path(status: SignatureStatus | None) -> list[x509.Certificate]:
    path = None if status is None else status.validation_path
    return [] if path is None else [*path.iter_certs(include_root=True)]


def _is_there(part: core.Asn1Value) -> bool:
    # Asking for what it says instead takes seconds.
    return not isinstance(part, core.Void)


def _added_problems(signer: cms.SignerInfo, *, of_time: SignatureStatus | None, is_token: bool) -> Iterator[str]:
    """Say what was added to a signature after it was made: a time stamp over it may be, and that once."""
    # These stand outside of what the signature covers: whoever has the file may write there what they like.
    added = [*signer["unsigned_attrs"]] if _is_there(signer["unsigned_attrs"]) else []
    if any(one["type"].native != "signature_time_stamp_token" for one in added) or len(added) > (0 if is_token else 1):
        yield "carries attributes that nobody signed"
        return
    for one in added:
        if len(one["values"]) != 1:
            yield "carries several time stamps"
            return
        [token] = one["values"]
        for problem in cms_problems(token.dump(), of_signer=None, of_time=of_time, is_token=True):
            yield f"carries a time stamp that {problem}"
