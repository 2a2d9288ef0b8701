"""A time-stamp authority for demonstrations and tests (RFC 3161): its time is the machine's, and proves nothing.

The library has one for tests, which signs by RSA keys only and with another organisation's policy.
"""

import asyncio
import secrets
from datetime import datetime

from asn1crypto import cms, tsp
from asn1crypto.keys import PrivateKeyInfo
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from pyhanko.sign.signers import SimpleSigner
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes
from pyhanko_certvalidator.registry import SimpleCertificateStore

from worker.signing.trust.certificates import to_asn1

# The arc that ITU-T keeps for examples: nobody's policy.
POLICY = "2.999.3161"


def state_time(
    request: bytes, *, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey, now: datetime
) -> bytes:
    """Answer a request with a token that states the time."""
    asked = tsp.TimeStampReq.load(request, strict=True)
    own = to_asn1(certificate)
    said = {
        "version": "v1",
        "policy": POLICY,
        "message_imprint": asked["message_imprint"],
        "serial_number": secrets.randbits(63),
        "gen_time": now,
    }
    if asked["nonce"].native is not None:
        said["nonce"] = asked["nonce"]
    content = cms.EncapsulatedContentInfo(
        {"content_type": "tst_info", "content": cms.ParsableOctetString(tsp.TSTInfo(said).dump())}
    )
    private = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    signer = SimpleSigner(own, PrivateKeyInfo.load(private), SimpleCertificateStore())  # type: ignore[no-untyped-call]
    token = asyncio.run(
        signer.async_sign_general_data(
            content, "sha256", detached=False, signed_attr_settings=PdfCMSSignedAttributes(signing_time=now)
        )
    )
    return bytes(tsp.TimeStampResp({"status": {"status": "granted"}, "time_stamp_token": token}).dump())
