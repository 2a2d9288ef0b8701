"""Gather what says that certificates still hold, to be kept in the document: lists (RFC 5280), answers (RFC 6960)."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from asn1crypto import crl as asn1_crl
from asn1crypto import ocsp as asn1_ocsp
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import ocsp
from cryptography.x509.oid import AuthorityInformationAccessOID

from worker.signing.errors import RevocationUnknownError
from worker.signing.trust.certificates import extension, name_of

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
        url = _list_url(certificate)
        if url is not None:
            one = read_revocation_list(fetch(url, None))
            lists[one.public_bytes(Encoding.DER)] = one.issuer
        else:
            answers.append(_ask_responder(certificate, issuers=known, fetch=fetch))
    return RevocationData(
        lists=tuple(asn1_crl.CertificateList.load(content) for content in lists), answers=tuple(answers)
    )


def _ask_responder(
    certificate: x509.Certificate, *, issuers: Iterable[x509.Certificate], fetch: Fetch
) -> asn1_ocsp.OCSPResponse:
    url = _responder_url(certificate)
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


def _list_url(certificate: x509.Certificate) -> str | None:
    points = extension(certificate, x509.CRLDistributionPoints) or ()
    return _first_on_the_web(name for point in points for name in point.full_name or ())


def _responder_url(certificate: x509.Certificate) -> str | None:
    accesses = extension(certificate, x509.AuthorityInformationAccess) or ()
    responders = (one for one in accesses if one.access_method == AuthorityInformationAccessOID.OCSP)
    return _first_on_the_web(one.access_location for one in responders)


def _first_on_the_web(names: Iterable[x509.GeneralName]) -> str | None:
    urls = (name.value for name in names if isinstance(name, x509.UniformResourceIdentifier))
    return next((url for url in urls if url.lower().startswith(("http://", "https://"))), None)
