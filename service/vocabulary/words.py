"""The closed lists of words about who acts and where what is judged stands, each with one meaning everywhere."""

from enum import StrEnum


class TokenKind(StrEnum):
    """Who holds a token, and with it what the holder may do."""

    CREW = "crew"
    CONTRACTOR = "contractor"
    ENGINEER = "engineer"
    BILLING = "billing"
    ADMINISTRATOR = "administrator"


class Standing(StrEnum):
    """Where a segment is on its way from work to money."""

    IN_PROGRESS = "in_progress"
    NONCONFORMING = "nonconforming"
    CONFORMING = "conforming"
    SUBMITTED = "submitted"
    ACCEPTED = "accepted"
    REFUSED = "refused"


class PackageStanding(StrEnum):
    """Whether later packages take the place of one: of no segment of it, of some, or of all."""

    CURRENT = "current"
    SUPERSEDED_IN_PART = "superseded_in_part"
    SUPERSEDED = "superseded"


class PackageDecision(StrEnum):
    """What the owner's engineer has said of a package's segments together, or the clock where nothing was said."""

    UNDECIDED = "undecided"
    ACCEPTED = "accepted"
    DEEMED_ACCEPTED = "deemed_accepted"
    ACCEPTED_IN_PART = "accepted_in_part"
    REFUSED = "refused"


class FarEnd(StrEnum):
    """What ends the fibre at its far side while return loss is measured."""

    ANGLED = "angled"
    ABSORBED = "absorbed"
    OPEN = "open"
