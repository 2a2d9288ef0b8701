"""Gather what says that certificates still hold, to be kept in the document: lists (RFC 5280), answers (RFC 6960)."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from asn1crypto import crl as asn1_crl
from asn1crypto import ocsp as asn1_ocsp
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import ocsp
from cryptography.x509.oid import AuthorityInformationAccessOID

from worker.signing.errors import RevocationUnknownError
from worker.signing.trust.certificates import name_of

# An address and, for a responder, the request to send there; the answer's bytes.
Fetch = Callable[[str, bytes | None], bytes]


@dataclass(frozen=True, kw_only=True)
class RevocationData:
    """Lists and answers as the library keeps them."""

    lists: tuple[asn1_crl.CertificateList, ...] = ()
    answers: tuple[asn1_ocsp.OCSPResponse, ...] = ()


def read_revocation_list(content: bytes) -> x509.CertificateRevocationList:
    """Read a list, as DER or as PEM text."""
    try:
        is_text = content.lstrip().startswith(b"-----BEGIN")
        return x509.load_pem_x509_crl(content) if is_text else x509.load_der_x509_crl(content)
    except ValueError as error:
        raise RevocationUnknownError(f"What was given as a revocation list is none: {error}.") from error


def gather(
    certificates: Iterable[x509.Certificate], *, fetch: Fetch, given: Sequence[x509.CertificateRevocationList]
) -> RevocationData:
    """Take the lists that were given, and fetch what is missing from where each certificate says.

    A root is trusted or not; nobody can take it back.
    """
    known = list(dict.fromkeys(certificates))
    lists = {one.public_bytes(Encoding.DER): one.issuer for one in given}
    answers: list[asn1_ocsp.OCSPResponse] = []
    for certificate in known:
        if certificate.issuer in {certificate.subject, *lists.values()}:
            continue
        found = next(_list_urls(certificate), None)
        if found is not None:
            one = read_revocation_list(fetch(found, None))
            lists[one.public_bytes(Encoding.DER)] = one.issuer
        else:
            answers.append(_ask_responder(certificate, issuers=known, fetch=fetch))
    return RevocationData(
        lists=tuple(asn1_crl.CertificateList.load(content) for content in lists), answers=tuple(answers)
    )


def _list_urls(certificate: x509.Certificate) -> Iterator[str]:
    try:
        points = certificate.extensions.get_extension_for_class(x509.CRLDistributionPoints).value
    except x509.ExtensionNotFound:
        return
    for point in points:
        for name in point.full_name or ():
            if isinstance(name, x509.UniformResourceIdentifier) and _is_on_the_web(name.value):
                yield name.value


def _ask_responder(
    certificate: x509.Certificate, *, issuers: Iterable[x509.Certificate], fetch: Fetch
) -> asn1_ocsp.OCSPResponse:
    url = next(_responder_urls(certificate), None)
    issuer = next((one for one in issuers if one.subject == certificate.issuer), None)
    if url is None or issuer is None:
        raise RevocationUnknownError(
            f"The certificate of {name_of(certificate)} names neither a revocation list nor a responder that can be "
            "asked. Give the list of its issuer as a file (REVOCATION_LIST_DIR)."
        )
    request = ocsp.OCSPRequestBuilder().add_certificate(certificate, issuer, SHA256()).build()
    try:
        answer = asn1_ocsp.OCSPResponse.load(fetch(url, request.public_bytes(Encoding.DER)), strict=True)
        status = answer["response_status"].native
    except (ValueError, TypeError) as error:
        raise RevocationUnknownError(f"The responder for {name_of(certificate)} sent no answer: {error}.") from error
    if status != "successful":
        raise RevocationUnknownError(f"The responder for {name_of(certificate)} does not say: {status}.")
    return answer


def _responder_urls(certificate: x509.Certificate) -> Iterator[str]:
    try:
        accesses = certificate.extensions.get_extension_for_class(x509.AuthorityInformationAccess).value
    except x509.ExtensionNotFound:
        return
    for access in accesses:
        location = access.access_location
        is_responder = access.access_method == AuthorityInformationAccessOID.OCSP
        if is_responder and isinstance(location, x509.UniformResourceIdentifier) and _is_on_the_web(location.value):
            yield location.value


def _is_on_the_web(url: str) -> bool:
    return url.lower().startswith(("http://", "https://"))
