"""What service, contractor and engineer declare with a package: each in a sentence, by whom, when and for whom."""

from collections.abc import Mapping
from types import MappingProxyType

from service.vocabulary.findings.words import Outcome
from service.vocabulary.people import PrintedPerson
from worker.package.data.content import PackageContent
from worker.package.phrases import count_text, shortened, time_text

# What the contractor excepts stands under these titles, which the sentences cite: they are part of the data.
OPEN_TITLES: Mapping[Outcome, str] = MappingProxyType(
    {Outcome.NONCONFORMING: "What does not conform", Outcome.UNDETERMINED: "What is undetermined"}
)
CONCESSIONS_TITLE = "Concessions asked for"
# The page on which the decision and people's own signatures will stand.
SIGNING_PAGE = 2

_EXCEPTIONS = f"“{OPEN_TITLES[Outcome.NONCONFORMING]}”, “{OPEN_TITLES[Outcome.UNDETERMINED]}” and “{CONCESSIONS_TITLE}”"


def declarations(content: PackageContent) -> dict[str, str]:
    """Return the sentences of those who have declared when the package is made."""
    return {"service": _of_service(content), "contractor": _of_contractor(content)}


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
    person = content.responsible
    comma = "" if person.position is None else ","
    return (
        f"{person_text(person)}{comma} declares for {shortened(content.contractor)} on "
        f"{time_text(content.submitted_at)}: {submitted} complete, except as listed under {_EXCEPTIONS}{but_dark}."
    )
