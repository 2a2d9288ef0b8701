"""Whose key may stand in which place: each is trusted in its own role, and a seal is no person's signature."""

from collections.abc import Mapping

import pytest
from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID

from service.vocabulary.signatures import SignaturePlace, SignedBy
from tests.signed_forms import SEALING, Cast, judge, make_cast, make_package, sign_field
from tests.signing_people import SIGNING, Signatory, make_signatory
from worker.signing.fields import CONTRACTOR_FIELD, DECISION_FIELD, ENGINEER_FIELD, FORMS, SEAL_FIELD
from worker.signing.report import State

pytestmark = pytest.mark.slow
RIGHT = {
    SEAL_FIELD: "service",
    CONTRACTOR_FIELD: "contractor",
    DECISION_FIELD: "service",
    ENGINEER_FIELD: "engineer",
}
HOLDERS = ("service", "renewed", "contractor", "engineer", "stranger")
# A seal may be renewed by its authority; nobody else may stand in another's place.
ALLOWED = {*RIGHT.items(), (SEAL_FIELD, "renewed"), (DECISION_FIELD, "renewed")}
# In form 1 the service sealed in a person's place, never as that person.
SEALED = {(field, holder) for field in (CONTRACTOR_FIELD, ENGINEER_FIELD) for holder in ("service", "renewed")}


@pytest.fixture(scope="module")
def cast() -> Cast:
    return make_cast()


def keys(cast: Cast, *, form: int, **holders: str) -> Mapping[str, Signatory]:
    """Return who signs each place of a form, with some places given to others."""
    return {field: getattr(cast, holders.get(field, RIGHT[field])) for field in RIGHT if field in FORMS[form]}


@pytest.mark.parametrize("holder", HOLDERS)
@pytest.mark.parametrize(("form", "field"), [(form, field) for form, fields in FORMS.items() for field in fields])
def test_each_key_stands_in_its_own_place_and_in_no_other(cast: Cast, field: str, holder: str, form: int) -> None:
    package = make_package(keys(cast, form=form, **{field: holder}), form=form)
    report = judge(package, cast.trust())
    # A receiver who knows the people by their authority sees the same.
    assert judge(package, cast.of_authorities).state is report.state
    is_allowed = (field, holder) in ALLOWED or (form == 1 and (field, holder) in SEALED)
    assert report.state is (State.COMPLETE if is_allowed else State.BAD), report.problems
    signed_by = {one.field: one.signed_by for one in report.signatures}
    is_seal = (field, holder) in SEALED and form == 1
    if field in {CONTRACTOR_FIELD, ENGINEER_FIELD}:
        assert signed_by[field] is (SignedBy.SERVICE_SEAL if is_seal else SignedBy.OWN_KEY)
    if is_seal:
        [title] = [one.title for one in report.signatures if one.field == field]
        assert title.startswith("the service's seal in the place of ")


@pytest.mark.parametrize("form", [1, 2])
def test_a_whole_package_by_a_persons_authority_is_bad(cast: Cast, form: int) -> None:
    # Other names, every place signed, all by one authority that vouches for people only.
    others = {
        field: make_signatory(f"Forger {number}", issuer=cast.engineer_authority, purposes=SEALING)
        for number, field in enumerate(RIGHT)
        if field in FORMS[form]
    }
    report = judge(make_package(others, form=form), cast.of_authorities)
    assert report.state is State.BAD
    assert any("the service's seal is by nobody that a trusted authority vouches for" in one for one in report.problems)


@pytest.mark.parametrize("form", [1, 2])
def test_one_persons_key_in_both_places_is_bad_though_an_authority_vouches(cast: Cast, form: int) -> None:
    for holder, field in (("contractor", ENGINEER_FIELD), ("engineer", CONTRACTOR_FIELD)):
        package = make_package(keys(cast, form=form, **{field: holder}), form=form)
        assert any("One key signed as" in one for one in judge(package, cast.of_authorities).problems)


def test_one_place_alone_signed_by_the_other_known_person_is_bad(cast: Cast) -> None:
    both = keys(cast, form=2, **{ENGINEER_FIELD: "contractor"})
    package = make_package({field: both[field] for field in (SEAL_FIELD, DECISION_FIELD, ENGINEER_FIELD)})
    trust = cast.trust(engineer=[cast.contractor_authority.certificate])
    problems = judge(package, trust).problems
    assert problems == ("The signature of the owner's engineer is by the key of the contractor's responsible person.",)


def test_an_authority_named_for_both_people_tells_neither_from_the_other(cast: Cast) -> None:
    both = [cast.contractor_authority.certificate, cast.engineer_authority.certificate]
    right = make_package(keys(cast, form=2))
    swapped = make_package(keys(cast, form=2, **{CONTRACTOR_FIELD: "engineer", ENGINEER_FIELD: "contractor"}))
    for package in (swapped, right):
        problems = judge(package, cast.trust(contractor=both, engineer=both)).problems
        assert sum("vouched for by an authority that is named for both people" in one for one in problems) == 2
    # Beside the person's own certificate it does no harm.
    pinned = cast.trust(contractor=[*both, cast.contractor.certificate], engineer=[*both, cast.engineer.certificate])
    assert judge(right, pinned).problems == ()
    assert judge(swapped, pinned).state is State.BAD


def test_a_seal_pinned_by_itself_is_not_trusted(cast: Cast) -> None:
    package = make_package(keys(cast, form=2))
    trust = cast.trust(service=[cast.service.certificate])
    assert judge(package, trust).state is State.BAD


@pytest.mark.parametrize(
    ("usage", "purposes"),
    [
        (SIGNING, ()),
        (SIGNING, (ExtendedKeyUsageOID.EMAIL_PROTECTION,)),
        (SIGNING, (ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE,)),
        (("digital_signature",), SEALING),
        (None, SEALING),
    ],
)
def test_a_seals_certificate_has_to_be_meant_for_it(
    cast: Cast, usage: tuple[str, ...] | None, purposes: tuple[x509.ObjectIdentifier, ...]
) -> None:
    seal = make_signatory("Unfit", issuer=cast.service_authority, usage=usage, purposes=purposes)
    report = judge(make_package({SEAL_FIELD: seal}), cast.trust())
    assert report.state is State.BAD
    assert any("not meant for s" in one for one in report.problems)
    assert not report.signatures[0].is_trusted


@pytest.mark.parametrize(
    ("usage", "purposes", "is_fit"),
    [
        (("key_cert_sign",), (), True),
        (("key_cert_sign",), SEALING, True),
        (("key_cert_sign",), (ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE,), True),
        (("key_cert_sign",), (ExtendedKeyUsageOID.SERVER_AUTH,), False),
        (("key_cert_sign",), (ExtendedKeyUsageOID.EMAIL_PROTECTION,), False),
        (("digital_signature",), (), False),
    ],
)
@pytest.mark.parametrize("is_between", [False, True])
def test_an_authority_limited_to_other_purposes_vouches_for_no_seal(
    cast: Cast, usage: tuple[str, ...], purposes: tuple[x509.ObjectIdentifier, ...], is_fit: bool, is_between: bool
) -> None:
    root = cast.service_authority if is_between else None
    authority = make_signatory("Limited", issuer=root, is_authority=True, usage=usage, purposes=purposes)
    seal = make_signatory("Seal", issuer=authority, purposes=SEALING)
    package = make_package({SEAL_FIELD: seal.with_issuers(authority)})
    anchor = cast.service_authority if is_between else authority
    report = judge(package, cast.trust(service=[anchor.certificate]))
    assert report.is_sound is is_fit, report.problems


@pytest.mark.parametrize(
    ("order", "contractor_signs", "engineer_signs", "awaited"),
    [
        ((SEAL_FIELD,), True, True, (SignaturePlace.CONTRACTOR, SignaturePlace.DECISION)),
        ((SEAL_FIELD,), False, True, (SignaturePlace.DECISION,)),
        ((SEAL_FIELD, CONTRACTOR_FIELD), True, True, (SignaturePlace.DECISION,)),
        ((SEAL_FIELD, DECISION_FIELD), True, True, (SignaturePlace.CONTRACTOR, SignaturePlace.ENGINEER)),
        ((SEAL_FIELD, DECISION_FIELD), False, False, ()),
        ((SEAL_FIELD, DECISION_FIELD, ENGINEER_FIELD), False, True, ()),
        ((SEAL_FIELD, DECISION_FIELD, ENGINEER_FIELD), True, True, (SignaturePlace.CONTRACTOR,)),
        ((SEAL_FIELD, DECISION_FIELD, ENGINEER_FIELD, CONTRACTOR_FIELD), True, True, ()),
    ],
)
def test_what_a_package_still_waits_for_is_named(
    cast: Cast,
    order: tuple[str, ...],
    contractor_signs: bool,
    engineer_signs: bool,
    awaited: tuple[SignaturePlace, ...],
) -> None:
    everybody = keys(cast, form=2)
    package = make_package(
        {field: everybody[field] for field in order}, contractor_signs=contractor_signs, engineer_signs=engineer_signs
    )
    report = judge(package, cast.trust())
    assert (report.problems, report.form, report.awaited) == ((), 2, awaited)
    assert report.state is (State.AWAITING if awaited else State.COMPLETE)
    assert report.is_good is not bool(awaited)


def test_in_form_1_both_places_are_awaited(cast: Cast) -> None:
    package = make_package({SEAL_FIELD: cast.service}, form=1, contractor_signs=False)
    report = judge(package, cast.trust())
    assert (report.form, report.awaited) == (1, (SignaturePlace.CONTRACTOR, SignaturePlace.ENGINEER))
    signed = sign_field(package, field=ENGINEER_FIELD, by=cast.service)
    assert judge(signed, cast.trust()).awaited == (SignaturePlace.CONTRACTOR,)


def test_an_engineer_who_signs_before_the_decision_is_in_the_file_signs_no_decision(cast: Cast) -> None:
    everybody = keys(cast, form=2)
    for order in ((SEAL_FIELD, ENGINEER_FIELD), (SEAL_FIELD, ENGINEER_FIELD, DECISION_FIELD)):
        report = judge(make_package({field: everybody[field] for field in order}), cast.trust())
        assert any("signed before the decision was in the file" in one for one in report.problems)


def test_a_decision_sealed_by_anybody_else_than_the_service_is_bad(cast: Cast) -> None:
    package = make_package({SEAL_FIELD: cast.service, DECISION_FIELD: cast.engineer})
    assert any("over the decision is by nobody" in one for one in judge(package, cast.trust()).problems)
