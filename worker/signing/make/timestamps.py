"""Ask a time-stamp authority (RFC 3161), and take only an answer to what was asked."""

import asyncio
from collections.abc import Callable
from typing import ClassVar

from asn1crypto import cms, core, tsp
from pyhanko.sign.timestamps import TimeStamper

from worker.signing.errors import AuthorityError

# A request in, the authority's answer out, both as they travel.
AskTime = Callable[[bytes], bytes]
# RFC 3161, 2.4.2: any other status means that there is no token.
GRANTED = ("granted", "granted_with_mods")


class TimeAnswer(core.Sequence):  # type: ignore[misc]
    """RFC 3161, 2.4.2: a refusal comes without a token, which the library's own form does not know."""

    _fields: ClassVar = [("status", tsp.PKIStatusInfo), ("time_stamp_token", cms.ContentInfo, {"optional": True})]


class CheckedTimeStamper(TimeStamper):
    """The library's client over a way to ask that was passed in.

    The library compares the nonce alone, and not the digest that the token is about.
    """

    def __init__(self, ask: AskTime) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._ask = ask

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> cms.ContentInfo:
        """Return the token for a digest."""
        _, request = self.request_cms(message_digest, md_algorithm)  # type: ignore[no-untyped-call]
        # In a thread: asking takes its time, and may run a loop of its own.
        answer = await asyncio.to_thread(self._ask, request.dump())
        try:
            return _token(TimeAnswer.load(answer, strict=True), request)
        except (ValueError, TypeError, LookupError, AttributeError) as error:
            raise AuthorityError(f"What the time-stamp authority answered is no time stamp: {error}.") from error


def _token(answer: TimeAnswer, request: tsp.TimeStampReq) -> cms.ContentInfo:
    status = answer["status"]
    if status["status"].native not in GRANTED:
        said = "; ".join(status["status_string"].native or []) or "no reason stated"
        raise AuthorityError(f"The time-stamp authority refused: {status['status'].native}, {said}.")
    token: cms.ContentInfo = answer["time_stamp_token"]
    content = token["content"]["encap_content_info"]
    stated: tsp.TSTInfo = content["content"].parsed
    if content["content_type"].native != "tst_info" or not isinstance(stated, tsp.TSTInfo):
        raise AuthorityError("The time-stamp authority sent something else than a time stamp.")
    # RFC 3161, 2.4.1: without a nonce an old answer could be sent again, and date back what is signed now.
    if stated["nonce"].native != request["nonce"].native:
        raise AuthorityError("The time-stamp authority answered another request: its nonce is not ours.")
    if _imprint(stated) != _imprint(request):
        raise AuthorityError("The time-stamp authority stamped another digest than the one sent.")
    if not any(one.name == "certificate" for one in token["content"]["certificates"]):
        raise AuthorityError("The time-stamp authority sent no certificate with its time stamp.")
    return token


def _imprint(message: tsp.TSTInfo | tsp.TimeStampReq) -> tuple[str, bytes]:
    imprint = message["message_imprint"]
    return imprint["hash_algorithm"]["algorithm"].native, imprint["hashed_message"].native
