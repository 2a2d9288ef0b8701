"""What service, contractor and engineer declare with a package: each in a sentence, by whom, when and for whom."""

from service.vocabulary.people import PrintedPerson
from service.vocabulary.signatures import SignedBy
from service.vocabulary.words import Outcome
from worker.package.concessions_section import CONCESSIONS_TITLE
from worker.package.content import PackageContent
from worker.package.finding_sections import OPEN_TITLES
from worker.package.pieces import Fact, Facts
from worker.package.wording import count_text, shortened, time_text

# The page on which the decision and people's own signatures will stand.
SIGNING_PAGE = 2

_SAYS_NOT = (
    "It does not say that the records are true, that the work is accepted, or that any place or fibre is safe: "
    "acceptance is the act of the owner's engineer"
)
_EXCEPTIONS = f"“{OPEN_TITLES[Outcome.NONCONFORMING]}”, “{OPEN_TITLES[Outcome.UNDETERMINED]}” and “{CONCESSIONS_TITLE}”"
_BY_SEAL = (
    "It was recorded with the contractor's token and stands under the service's seal; there is no signature by a key "
    "of this person's own."
)
_BY_OWN_KEY = (
    f"It is signed with a key of this person's own on page {SIGNING_PAGE}: as long as the file has no such signature, "
    "it is awaited."
)


def declarations(content: PackageContent) -> dict[str, str]:
    """Return the sentences of those who have declared when the package is made."""
    return {"service": _of_service(content), "contractor": _of_contractor(content)}


def declared_facts(content: PackageContent) -> Facts:
    """Return what each party declares, and what it does not; the engineer's word is still to come."""
    said = declarations(content)
    signed = _BY_OWN_KEY if content.contractor_signature is SignedBy.OWN_KEY else _BY_SEAL
    return Facts(
        facts=(
            Fact(label="Service", value=f"{said['service']} {_SAYS_NOT}{_deemed(content)}."),
            Fact(label="Contractor", value=f"{said['contractor']} {signed}"),
            Fact(label="Owner's engineer", value=_of_engineer(content)),
        )
    )


def person_text(person: PrintedPerson) -> str:
    """Return who a person is, by name and position."""
    name = shortened(person.name)
    return name if person.position is None else f"{name}, {person.position}"


def _of_service(content: PackageContent) -> str:
    return (
        f"The service ({content.program}) declares for {shortened(content.contractor)} and {shortened(content.owner)} "
        f"on {time_text(content.made_at)}: it made this package from the design, criteria, findings and records "
        "attached to it, and its seal shows whether anything has changed since."
    )


def _of_contractor(content: PackageContent) -> str:
    many = len(content.segments) > 1
    submitted = f"the {len(content.segments)} segments submitted are" if many else "the segment submitted is"
    dark = len(content.tolerated_dark)
    but_dark = f", and but for {count_text(dark, one='dark fibre', many='dark fibres')} tolerated" if dark else ""
    person = content.responsible_person
    comma = "" if person.position is None else ","
    return (
        f"{person_text(person)}{comma} declares for {shortened(content.contractor)} on "
        f"{time_text(content.submitted_at)}: {submitted} complete, except as listed under {_EXCEPTIONS}{but_dark}."
    )


def _of_engineer(content: PackageContent) -> str:
    return (
        f"Accepts or refuses each segment for {shortened(content.owner)} on page {SIGNING_PAGE}, under the service's "
        "seal: as long as that page shows no such seal, this file holds no decision."
    )


def _deemed(content: PackageContent) -> str:
    days = content.criteria.deemed_after_days
    return "" if days is None else f", or deemed by the criteria {days} days after issue, as they say"
