"""Routes of any size for benchmarks: honest work throughout, in the forms that are posted."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

from tests.bodies import Body
from tests.bodies.routes import make_design, make_sections
from tests.simulator.contract import demo_criteria
from tests.simulator.crew import Hand, closure_record
from tests.simulator.draws import draw_between, rounded, start
from tests.simulator.glass import draw_truth
from tests.simulator.rounds import Gear, make_gear, otdr_round, power_round
from tests.simulator.splicing import RIBBON, SiteWork, SplicerScreen, ribbon_splicer
from tests.simulator.truth import RouteTruth, fibre_lengths_m

_ZONE = timezone(timedelta(hours=1))
_BEGIN = datetime(2026, 1, 5, 7, 0, tzinfo=_ZONE)
_LEAST_SITE_TIME = timedelta(hours=12)
_RIBBON_TIME = timedelta(minutes=8)
_OTDR_TIME = timedelta(days=3)
_HAND_AT_A = Hand(operator="p-3k7", device="tablet-31")
_HAND_AT_B = Hand(operator="p-5t2", device="tablet-32")
_SLACK_M = 20.0
_EXCESS_PERCENT = 1.2


@dataclass(frozen=True, kw_only=True)
class LargeRoute:
    """A route's design and criteria, and what its crews post in the order in which they made it."""

    design: Body
    criteria: Body
    truth: RouteTruth
    gear: Gear
    seed: int

    def records(self) -> Iterator[Body]:
        """Give every record of the route."""
        yield from self.splicing()
        yield from self.otdr()
        yield from self.attenuation()

    def splicing(self) -> Iterator[Body]:
        """Give the ribbons of each site, and its sealing where it is a closure."""
        screen, splicer = SplicerScreen(self.truth, seed=self.seed, estimates_db={}), ribbon_splicer("FS-2301")
        for index, site in enumerate(self.truth.sites):
            begin = _BEGIN + index * self._site_time
            yield from screen.splice_site(
                SiteWork(
                    site=site,
                    hand=_HAND_AT_A,
                    splicer=splicer,
                    begin=begin,
                    each=_RIBBON_TIME,
                    together=RIBBON,
                    name_prefix=f"{self._name}/",
                )
            )
            if 0 < index < len(self.truth.sites) - 1:
                name, sealed_at = f"{self._name}/seal/{site}", begin + self._site_time - _RIBBON_TIME
                yield closure_record(name, site=site, state="sealed", photographs=1, hand=_HAND_AT_A, made_at=sealed_at)

    def otdr(self) -> Iterator[Body]:
        """Give the traces of every fibre, wavelength and direction."""
        return otdr_round(self.truth, gear=self.gear, begin=self._tested_from, name=self._name, seed=self.seed)

    def attenuation(self) -> Iterator[Body]:
        """Give the readings of source and meter of every fibre, wavelength and direction."""
        begin = self._tested_from + _OTDR_TIME
        return power_round(self.truth, gear=self.gear, begin=begin, name=self._name, seed=self.seed)

    @property
    def _name(self) -> str:
        return f"large/{self.seed}/{self.truth.fibre_count}x{len(self.truth.sites)}"

    @property
    def _tested_from(self) -> datetime:
        return _BEGIN + len(self.truth.sites) * self._site_time

    @property
    def _site_time(self) -> timedelta:
        ribbons = -(-self.truth.fibre_count // RIBBON)
        return max(_LEAST_SITE_TIME, (ribbons + 2) * _RIBBON_TIME)


def simulate_large(
    *,
    fibres: int,
    closures: int,
    seed: int,
    loss_threshold_db: float = 0.02,
    cable_m: tuple[float, float] = (1500, 2500),
) -> LargeRoute:
    """Return a straight route of closures between two terminals, its sections of such lengths.

    A trace shows one event per closure and terminal, and its end; with a threshold of 0.001 dB hardly one is unseen.
    """
    sites = ["A", *(f"C{number}" for number in range(1, closures + 1)), "B"]
    cable_lengths_m = rounded(draw_between(start(seed, 6), (closures + 1,), low=cable_m[0], high=cable_m[1]), 1)
    true_excesses = draw_between(start(seed, 7), (closures + 1,), low=-0.03, high=0.03) + _EXCESS_PERCENT
    lengths_m = fibre_lengths_m(
        cable_lengths_m=cable_lengths_m.tolist(),
        slacks_m=[_SLACK_M] * (closures + 1),
        excesses_percent=true_excesses.tolist(),
    )
    return LargeRoute(
        design=make_design(
            code=f"LARGE-{fibres}",
            closures=closures,
            fibre_count=fibres,
            sections=make_sections(cable_lengths_m.tolist(), slack_m=_SLACK_M, excess_percent=_EXCESS_PERCENT),
        ),
        criteria=_criteria(),
        truth=draw_truth(sites=sites, section_lengths_m=lengths_m, fibre_count=fibres, uncut={}, seed=seed),
        gear=make_gear(
            hand_at_a=_HAND_AT_A,
            hand_at_b=_HAND_AT_B,
            loss_threshold_db=loss_threshold_db,
            pulse_ns=300,
            range_m=200_000.0,
        ),
        seed=seed,
    )


def _criteria() -> Body:
    """Return the demo's criteria, the fixed link limit widened to a budget so that it fits any length.

    Its noise is the same everywhere, so that silence counts however far from the instrument.
    """
    criteria = demo_criteria()
    criteria["placing"] = {**criteria["placing"], "unseen_within_db": 60.0}
    fixed = next(one for one in criteria["criteria"] if one["code"] == "link-1310")
    fixed["limit"] = {"kind": "budget", "attenuation_db_per_km": 0.36, "splice_db": 0.15, "connection_db": 0.5}
    return criteria
