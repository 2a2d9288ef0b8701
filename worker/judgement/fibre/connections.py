"""Whether a connection was cleaned since its fibre got its connector, and is clean now."""

from collections.abc import Sequence

from service.vocabulary.design.layout import Joint
from service.vocabulary.words import Outcome, Side
from worker.judgement.fibre.end_faces import inspection_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import CleaningAct, TerminationAct
from worker.judgement.traces.places import Place


def is_clean(fibre: FibreMeasured, place: Place, pair: Joint) -> bool:
    """Tell whether a connection was cleaned and both its end faces pass: what is still wrong is the connector's."""
    passed = all(inspection_of(fibre.history, place, pair, side).outcome is Outcome.CONFORMING for side in Side)
    return passed and bool(cleanings_of(fibre, pair))


def cleanings_of(fibre: FibreMeasured, pair: Joint) -> Sequence[CleaningAct]:
    """Return the cleanings of a connection since it got its latest connector."""
    made = [act for act in fibre.history.terminations.get(pair.site, ()) if _is_of(act, pair)]
    since = made[-1].stamp.key if made else None
    own = (act for act in fibre.history.cleanings.get(pair.site, ()) if _is_of(act, pair))
    return [act for act in own if since is None or act.stamp.key > since]


def _is_of(act: CleaningAct | TerminationAct, pair: Joint) -> bool:
    return act.position in {None, pair.position}
