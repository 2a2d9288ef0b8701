"""Each side names and erases its own people, and says by which certificates they sign; the administrator for both."""

from sqlmodel import Session

from service.actions.caller import Caller
from service.errors import NotFoundError, WrongSideError
from service.storage.people import claim_for, side_of
from service.storage.tables import Project
from service.vocabulary.people import SIDE_OF, PartySide


def claim_person(session: Session, project: Project, person_id: str, side: PartySide) -> None:
    """Make an id a side's for good, refused where it is the other's."""
    if not claim_for(session, project.id, person_id, side):
        raise WrongSideError("This id is a person of the other side.")


def refuse_other_side(session: Session, caller: Caller, project: Project, person_id: str) -> None:
    """Refuse whoever is of one side and means a person of the other, or of none yet."""
    own = SIDE_OF.get(caller.kind)
    side = side_of(session, project.id, person_id)
    if own is None or side is own:
        return
    if side is None:
        raise NotFoundError("No person with this id.")
    raise WrongSideError("This id is a person of the other side.")
