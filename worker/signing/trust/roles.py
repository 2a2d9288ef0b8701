"""Whose key may stand in which place: the service's seal, and each person's own, never one for another."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations

from asn1crypto import x509

from service.vocabulary.signatures import SignedBy
from worker.signing.fields import FIELD_TITLES, PEOPLE, SEAL_FIELD, title_of
from worker.signing.trust.certificates import commits, from_asn1, is_valid_at
from worker.signing.trust.role_trust import Trust


@dataclass(frozen=True, kw_only=True)
class Place:
    """One signed field, the certificate that signed there, in whose name, and what people call it."""

    field: str
    certificate: x509.Certificate
    signed_by: SignedBy
    title: str

    @property
    def is_seal(self) -> bool:
        """Tell whether the service signed here."""
        return self.signed_by is SignedBy.SERVICE_SEAL

    def anchors(self, trust: Trust, *, now: datetime) -> Sequence[x509.Certificate]:
        """Return what vouches for who may sign here: authorities, and a person's own certificate while it may sign.

        The validator takes any anchor as it is: past its date, not meant for signing, and for issuer of others though
        it is no authority. So a person's certificate is handed to it only for that person's own signature, and checked
        here.
        """
        if self.is_seal:
            return trust.service
        known = trust.people.get(self.field, ())
        return [one for one in known if one.ca or (one.dump() == self.certificate.dump() and self._may_sign(now))]

    def _may_sign(self, now: datetime) -> bool:
        certificate = from_asn1(self.certificate)
        return is_valid_at(certificate, now) and commits(certificate)


def place_of(field: str, certificate: x509.Certificate, *, form: int, seal: x509.Certificate) -> Place:
    """Tell in whose name a field was signed, in a package whose first signature is by this seal's certificate.

    In form 1 the service could seal in a person's place what that person had recorded; only a certificate of the
    seal's own holder did so, and it is no signature of that person.
    """
    title, signed_by = title_of(field), SignedBy.OWN_KEY
    if field in FIELD_TITLES and field not in PEOPLE:
        signed_by = SignedBy.SERVICE_SEAL
    elif form == 1 and field in PEOPLE and is_same_holder(certificate, seal):
        title, signed_by = f"the service's seal in the place of {title}", SignedBy.SERVICE_SEAL
    return Place(field=field, certificate=certificate, signed_by=signed_by, title=title)


def confusions(places: Sequence[Place], trust: Trust) -> Iterator[str]:
    """Say where one holder stands in two places that belong to different ones, or is trusted for another's."""
    for one, other in combinations(places, 2):
        if _owner(one) != _owner(other) and is_same_holder(one.certificate, other.certificate):
            yield f"One key signed as {one.title} and as {other.title}."
    for place in places:
        for field, known in trust.people.items():
            is_another = field != place.field or place.is_seal
            if is_another and _is_among(place.certificate, known):
                yield f"The signature of {place.title} is by the key of {FIELD_TITLES[field]}."
        if not place.is_seal and _is_ambiguous(place, trust):
            yield (
                f"The signature of {place.title} is vouched for by an authority that is named for both people, and may "
                "be either's: name that person's own certificate."
            )


def is_same_holder(one: x509.Certificate, other: x509.Certificate) -> bool:
    """Tell whether two certificates are one holder's: of one key, or renewed by one issuer in one name."""
    if one.public_key.dump() == other.public_key.dump():
        return True
    # In the name of one who is its own issuer anybody can make another.
    is_issued = one.issuer != one.subject
    return bool(is_issued and one.issuer == other.issuer and one.subject == other.subject)


def _is_ambiguous(place: Place, trust: Trust) -> bool:
    """Tell whether a certificate is not known by itself, and an authority is named for the other person as well."""
    named = [{one.dump() for one in known if one.ca} for known in trust.people.values()]
    is_pinned = _is_among(place.certificate, trust.people.get(place.field, ()))
    return not is_pinned and bool(set.intersection(*named))


def _owner(place: Place) -> str:
    return SEAL_FIELD if place.is_seal else place.field


def _is_among(certificate: x509.Certificate, known: Iterable[x509.Certificate]) -> bool:
    return any(not one.ca and one.public_key.dump() == certificate.public_key.dump() for one in known)
