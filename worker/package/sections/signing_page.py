"""The page for the decision and for people's own signatures, in words."""

from service.vocabulary.signatures import SignedBy
from worker.package.data.content import PackageContent
from worker.package.data.declarations import person_text
from worker.package.document_model import Paragraph, SignatureFrame, SigningPage
from worker.package.phrases import shortened

_NOTE = Paragraph(
    text="A person's own signature is made with a key that only this person holds, and covers everything that the file "
    "had before it. Not every tool draws something when it signs: who signed, when, and whether it holds, is read from "
    "the file and not from what a frame shows."
)


def build_signing_page(content: PackageContent) -> SigningPage:
    """Return what is printed around the frames before anybody has decided or signed."""
    return SigningPage(
        title="Decision and signatures",
        introduction=Paragraph(text=_introduction(content)),
        decision_title="Decision on the segments submitted, under the service's seal",
        contractor_frame=_contractor_frame(content),
        engineer_frame=SignatureFrame(
            title="Engineer's own signature",
            note="only where the decision above says that it follows",
        ),
        note=_NOTE,
    )


def _introduction(content: PackageContent) -> str:
    days = content.criteria.deemed_after_days
    deemed = (
        ""
        if days is None
        else f" Where nobody decides or gives notice of a defect within {days} days of issue, the criteria deem the "
        "segments accepted; then the seal says so, and is nobody's word."
    )
    return (
        f"When the engineer of {shortened(content.owner)} decides, the service records it and seals it into the first "
        "frame: what is accepted and what refused, why, with which reservations, by whom and when. The seal is the "
        "service's and no signature of the engineer's. An empty frame means that this file holds no decision."
        f"{deemed}"
    )


def _contractor_frame(content: PackageContent) -> SignatureFrame:
    title, person = "Contractor's own signature", person_text(content.responsible)
    if content.contractor_signature is SignedBy.OWN_KEY:
        return SignatureFrame(title=f"{title}, to follow", note=person)
    return SignatureFrame(
        title=f"{title}: none",
        note=person,
        inside="No signature belongs here: the declaration on the first page was recorded with the contractor's token "
        "and stands under the service's seal.",
    )
