"""Splicing a site: which fibres are fused there, alone or as ribbons, and what the splicer's screen shows."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tests.bodies import Body
from tests.simulator.crew import Hand, Splicer, splice_record
from tests.simulator.draws import Floats, draw_between, rounded, start
from tests.simulator.glass import draw_estimates_db
from tests.simulator.truth import RouteTruth

RIBBON = 12


@dataclass(frozen=True, kw_only=True)
class SiteWork:
    """A site's splicing by one crew; `together` fibres are fused in one arc."""

    site: str
    hand: Hand
    splicer: Splicer
    begin: datetime
    each: timedelta
    together: int = 1
    name_prefix: str = ""


class SplicerScreen:
    """What the splicer shows of each fibre it fuses; an estimate named by (site, fibre) replaces a drawn one."""

    def __init__(self, truth: RouteTruth, *, seed: int, estimates_db: Mapping[tuple[str, int], float]) -> None:
        self._truth = truth
        self._named_db = estimates_db
        self._drawn_db = draw_estimates_db(truth, seed=seed)
        self._cleaves_deg: Floats = rounded(
            draw_between(start(seed, 5), (2, *truth.has_splice.shape), low=0.1, high=0.6), 1
        )

    def joint(self, *, site: str, fibre: int) -> Body:
        """Return one fibre of a splice; a pigtail's splice is the second joint from the panel at A, the first at B."""
        index = self._truth.sites.index(site)
        left_deg, right_deg = self._cleaves_deg[:, fibre - 1, index].tolist()
        positions = {0: {"position": 2}, len(self._truth.sites) - 1: {"position": 1}}
        return {
            "fibre": fibre,
            "estimate_db": self._named_db.get((site, fibre), float(self._drawn_db[fibre - 1, index])),
            "cleave_left_deg": left_deg,
            "cleave_right_deg": right_deg,
            **positions.get(index, {}),
        }

    def splice_site(self, work: SiteWork) -> Iterator[Body]:
        """Give the records of a whole site, first attempts, in the order in which they were made."""
        index = self._truth.sites.index(work.site)
        fibres = [int(fibre) + 1 for fibre in np.flatnonzero(self._truth.has_splice[:, index])]
        for number, first in enumerate(range(0, len(fibres), work.together)):
            ribbon = fibres[first : first + work.together]
            yield splice_record(
                f"{work.name_prefix}splice/{work.site}/{ribbon[0]}/1",
                site=work.site,
                joints=[self.joint(site=work.site, fibre=fibre) for fibre in ribbon],
                attempt=1,
                splicer=work.splicer,
                hand=work.hand,
                made_at=work.begin + number * work.each,
            )


def single_splicer(serial: str) -> Splicer:
    """Return a splicer set up for single fibres."""
    return Splicer(serial=serial, mode="single-mode, core alignment", cleave_length_mm=10.0, sleeve_length_mm=60.0)


def ribbon_splicer(serial: str) -> Splicer:
    """Return a splicer set up for ribbons."""
    return Splicer(serial=serial, mode="single-mode, ribbon of 12", cleave_length_mm=10.0, sleeve_length_mm=40.0)
