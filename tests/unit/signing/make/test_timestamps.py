"""Only a time stamp that answers what was asked, by an authority that is trusted, gets into a package."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from asn1crypto import tsp
from cryptography.hazmat.primitives.asymmetric import ec

from service.vocabulary.signatures import SignatureLevel
from tests.signed_documents import (
    CERTIFIED_AT,
    NOW,
    Signed,
    certify_document,
    make_authorities,
)
from worker.demo.authority.certificates import STATING_TIME, issue
from worker.demo.authority.time_stamp import state_time
from worker.signing.check.verify import verify
from worker.signing.errors import (
    AuthorityError,
    OwnSignatureError,
    RevocationUnknownError,
    SigningError,
)
from worker.signing.make.sealing import Sealing
from worker.signing.make.timestamps import AskTime, CheckedTimeStamper, TimeAnswer
from worker.signing.trust.role_trust import RoleTrust


def refuse_with(change: Callable[[TimeAnswer], TimeAnswer], signed: Signed) -> AskTime:
    """Answer as the authority does, with something changed."""
    honest = make_authorities(signed.authority, now=NOW).ask_time

    def ask(request: bytes) -> bytes:
        return bytes(change(TimeAnswer.load(honest(request))).dump(force=True))

    return ask


def reject(_: TimeAnswer) -> TimeAnswer:
    return TimeAnswer({"status": {"status": "rejection", "status_string": ["no more today"]}})


def drop_token(_: TimeAnswer) -> TimeAnswer:
    return TimeAnswer({"status": {"status": "granted"}})


def drop_certificates(answer: TimeAnswer) -> TimeAnswer:
    answer["time_stamp_token"]["content"]["certificates"] = []
    return answer


@pytest.mark.parametrize(
    ("change", "said"),
    [(reject, "rejection, no more today"), (drop_token, "no time stamp"), (drop_certificates, "no certificate")],
)
def test_an_answer_that_is_no_time_stamp_is_not_taken(
    signed: Signed, change: Callable[[TimeAnswer], TimeAnswer], said: str
) -> None:
    with pytest.raises(AuthorityError, match=said):
        stamp(refuse_with(change, signed))


@pytest.mark.parametrize("answer", [b"", b"<html>busy</html>", b"\x30\x03\x02\x01\x00", bytes(100)])
def test_garbage_is_not_taken(answer: bytes) -> None:
    with pytest.raises(AuthorityError, match="is no time stamp"):
        stamp(lambda _: answer)


@pytest.mark.parametrize(
    ("member", "value", "said"),
    [("nonce", 1, "nonce is not ours"), ("nonce", None, "nonce is not ours"), ("digest", bytes(32), "another digest")],
)
def test_the_answer_to_another_request_is_not_taken(signed: Signed, member: str, value: object, said: str) -> None:
    honest = make_authorities(signed.authority, now=NOW).ask_time

    def ask(request: bytes) -> bytes:
        other = tsp.TimeStampReq.load(request).copy()
        if member == "nonce":
            other["nonce"] = value
        else:
            other["message_imprint"]["hashed_message"] = value
        return honest(other.dump(force=True))

    with pytest.raises(AuthorityError, match=said):
        stamp(ask)


def stamp(ask: AskTime) -> object:
    return asyncio.run(CheckedTimeStamper(ask).async_timestamp(b"\x01" * 32, "sha256"))


def level_of(pdf: bytes, *, signed: Signed) -> SignatureLevel | None:
    return verify(pdf, trust=RoleTrust(service=signed.trust), now=CERTIFIED_AT).level


def seal_with(signed: Signed, *, level: SignatureLevel, ask_time: AskTime) -> bytes:
    authorities = replace(make_authorities(signed.authority, now=CERTIFIED_AT), ask_time=ask_time)
    return certify_document(signed.unsigned, key=signed.key, sealing=Sealing(level=level, authorities=authorities))


WITH_TIME = [SignatureLevel.B_T, SignatureLevel.B_LTA]


@pytest.mark.parametrize("level", WITH_TIME)
def test_an_authority_that_does_not_answer_leaves_nothing_signed(signed: Signed, level: SignatureLevel) -> None:
    def ask(_: bytes) -> bytes:
        raise AuthorityError("Nobody is there.")

    with pytest.raises(AuthorityError):
        seal_with(signed, level=level, ask_time=ask)


@pytest.mark.parametrize("level", WITH_TIME)
def test_the_time_of_an_authority_nobody_trusts_is_not_let_out(
    signed: Signed, other_authority: Signed, level: SignatureLevel
) -> None:
    strange = make_authorities(other_authority.authority, now=CERTIFIED_AT).ask_time
    with pytest.raises(SigningError, match=r"vouches for|no issuer matching"):
        seal_with(signed, level=level, ask_time=strange)


@pytest.mark.parametrize("level", WITH_TIME)
def test_the_time_of_an_authority_whose_certificate_has_ended_is_not_let_out(
    signed: Signed, level: SignatureLevel
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    ended = issue(
        key.public_key(),
        role="time",
        purpose=STATING_TIME,
        root=signed.authority.root,
        issuer_key=signed.authority.root_key,
        revocation_url="http://revocation.invalid/",
        now=NOW - timedelta(days=4000),
    )
    with pytest.raises(SigningError, match=r"not valid on 2026-05-04|expired 2025-05-19"):
        seal_with(signed, level=level, ask_time=lambda r: state_time(r, certificate=ended, key=key, now=CERTIFIED_AT))


def test_a_certificate_that_is_not_for_stating_the_time_states_none(signed: Signed) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    for_documents = issue(
        key.public_key(),
        role="seal",
        root=signed.authority.root,
        issuer_key=signed.authority.root_key,
        revocation_url="http://revocation.invalid/",
        now=CERTIFIED_AT,
    )
    with pytest.raises(OwnSignatureError, match="not meant for stating the time"):
        seal_with(
            signed,
            level=SignatureLevel.B_T,
            ask_time=lambda r: state_time(r, certificate=for_documents, key=key, now=CERTIFIED_AT),
        )


@pytest.mark.parametrize(("minutes", "is_let_out"), [(4, True), (6, False)])
def test_a_clock_minutes_ahead_of_ours_is_not_believed(signed: Signed, minutes: int, is_let_out: bool) -> None:
    ahead = make_authorities(signed.authority, now=CERTIFIED_AT + timedelta(minutes=minutes)).ask_time
    if is_let_out:
        assert (
            level_of(seal_with(signed, level=SignatureLevel.B_T, ask_time=ahead), signed=signed) is SignatureLevel.B_T
        )
    else:
        with pytest.raises(OwnSignatureError, match="a time that had not come"):
            seal_with(signed, level=SignatureLevel.B_T, ask_time=ahead)


def test_nothing_is_sealed_for_ever_on_a_certificate_that_was_withdrawn(signed: Signed) -> None:
    def fetch(_: str, __: bytes | None) -> bytes:
        return signed.authority.revocation_list(now=CERTIFIED_AT - timedelta(hours=1), revoked=[signed.key.certificate])

    authorities = replace(make_authorities(signed.authority, now=CERTIFIED_AT), fetch=fetch)
    with pytest.raises(SigningError, match="revoked"):
        certify_document(
            signed.unsigned, key=signed.key, sealing=Sealing(level=SignatureLevel.B_LTA, authorities=authorities)
        )


@pytest.mark.parametrize("content", [b"", b"<html>", b"-----BEGIN X509 CRL-----\nAAAA\n-----END X509 CRL-----\n"])
def test_what_is_no_revocation_list_seals_nothing(signed: Signed, content: bytes) -> None:
    authorities = replace(make_authorities(signed.authority, now=CERTIFIED_AT), fetch=lambda _, __: content)
    with pytest.raises(RevocationUnknownError, match="revocation list"):
        certify_document(
            signed.unsigned, key=signed.key, sealing=Sealing(level=SignatureLevel.B_LTA, authorities=authorities)
        )


def test_a_revocation_list_may_come_from_a_file_and_is_then_not_fetched(signed: Signed) -> None:
    def fetch(url: str, _: bytes | None) -> bytes:
        raise AssertionError(url)

    listed = signed.authority.revocation_list(now=CERTIFIED_AT - timedelta(hours=1))
    authorities = replace(make_authorities(signed.authority, now=CERTIFIED_AT), fetch=fetch, revocation_lists=(listed,))
    sealed = certify_document(
        signed.unsigned, key=signed.key, sealing=Sealing(level=SignatureLevel.B_LTA, authorities=authorities)
    )
    assert level_of(sealed, signed=signed) is SignatureLevel.B_LTA


def test_a_list_that_has_run_out_seals_nothing(signed: Signed) -> None:
    stale = signed.authority.revocation_list(now=CERTIFIED_AT - timedelta(days=30))
    authorities = replace(make_authorities(signed.authority, now=CERTIFIED_AT), fetch=lambda _, __: stale)
    with pytest.raises(SigningError):
        certify_document(
            signed.unsigned, key=signed.key, sealing=Sealing(level=SignatureLevel.B_LTA, authorities=authorities)
        )
