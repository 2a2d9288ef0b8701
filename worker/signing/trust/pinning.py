"""Trust in one certificate and nothing else: a person's, known by its fingerprint, whoever issued it."""

from collections.abc import Collection, Sequence
from datetime import datetime
from io import BytesIO

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from pyhanko.pdf_utils.reader import PdfFileReader

from worker.signing.trust.certificates import certificate_sha256, from_asn1
from worker.signing.trust.fitness import commits


def anchors_for(
    signer: asn1_x509.Certificate, anchors: Sequence[asn1_x509.Certificate], *, now: datetime
) -> list[asn1_x509.Certificate]:
    """Return what vouches for a signer: authorities, and the signer's own certificate while it may sign.

    The validator takes any anchor as it is: past its date, not meant for signing, and for issuer of others though it is
    no authority. So a person's certificate is handed to it only for that person's own signature, and checked here.
    """
    return [one for one in anchors if one.ca or (one.dump() == signer.dump() and _may_sign(from_asn1(one), now=now))]


def pinned_signers(pdf: bytes, fingerprints: Collection[str]) -> list[x509.Certificate]:
    """Return the certificates in a file that signed it and have one of these fingerprints."""
    signatures = PdfFileReader(BytesIO(pdf)).embedded_regular_signatures
    certificates = [from_asn1(signature.signer_cert) for signature in signatures]
    return [one for one in certificates if certificate_sha256(one) in fingerprints]


def _may_sign(certificate: x509.Certificate, *, now: datetime) -> bool:
    return certificate.not_valid_before_utc <= now <= certificate.not_valid_after_utc and commits(certificate)
