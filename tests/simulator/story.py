"""The demo's story: batches of records in the order in which they happen.

Two splices come out badly and are made again while their closures are open. Everything is sealed and tested; one
joint, whose estimate was fine, does not hold its limit after sealing: its fibre lies bent. It is relieved, and as its
closure was opened, every fibre is tested again.
"""

from datetime import datetime, timedelta, timezone

from tests.bodies import Body
from tests.simulator.crew import Hand, closure_record, splice_record
from tests.simulator.rounds import Gear, make_gear, otdr_round, power_round
from tests.simulator.route import SEED, demo_truth, repaired_truth
from tests.simulator.splicing import RIBBON, SiteWork, SplicerScreen, ribbon_splicer, single_splicer
from tests.simulator.truth import RouteTruth

_ZONE = timezone(timedelta(hours=1))
_SINGLE = timedelta(minutes=5)
_ILSE = Hand(operator="p-3k7", device="tablet-31")
_TOBIN = Hand(operator="p-5t2", device="tablet-32")
_NADJA = Hand(operator="p-8d4", device="tablet-33")
_BAD_ESTIMATES_DB = {("C2", 7): 0.13, ("C4", 18): 0.11}
_CONFLICTING_ESTIMATE_DB = 0.04


def demo_batches() -> dict[str, list[Body]]:
    """Return the records of each batch, by the name of its file."""
    return {
        "01_splicing": _splicing(),
        "02_re_splices": _re_splices(),
        "03_sealing": _sealing(),
        "04_otdr": list(otdr_round(demo_truth(), gear=_gear(), begin=_at(11, 8), name="first", seed=SEED + 1)),
        "05_attenuation": list(power_round(demo_truth(), gear=_gear(), begin=_at(11, 13), name="first", seed=SEED + 1)),
        "06_repair": _repair(),
        "07_retest": [
            *otdr_round(repaired_truth(), gear=_gear(), begin=_at(13, 8), name="second", seed=SEED + 2),
            *power_round(repaired_truth(), gear=_gear(), begin=_at(13, 13), name="second", seed=SEED + 2),
        ],
        "conflict": [_conflict()],
    }


def _splicing() -> list[Body]:
    ilse, tobin = single_splicer("FS-2207"), single_splicer("FS-2208")
    ribbons, half_hour = ribbon_splicer("FS-2301"), timedelta(minutes=30)
    works = [
        SiteWork(site="A", hand=_ILSE, splicer=ilse, begin=_at(9, 7, 30), each=_SINGLE),
        SiteWork(site="C1", hand=_ILSE, splicer=ribbons, begin=_at(9, 10, 30), each=half_hour, together=RIBBON),
        SiteWork(site="C3", hand=_ILSE, splicer=ribbons, begin=_at(9, 12, 15), each=half_hour, together=RIBBON),
        SiteWork(site="C2", hand=_ILSE, splicer=ilse, begin=_at(9, 13, 30), each=_SINGLE),
        SiteWork(site="B", hand=_TOBIN, splicer=tobin, begin=_at(9, 7, 30), each=_SINGLE),
        SiteWork(site="C5", hand=_TOBIN, splicer=tobin, begin=_at(9, 10, 30), each=_SINGLE),
        SiteWork(site="C4", hand=_TOBIN, splicer=tobin, begin=_at(9, 13, 30), each=_SINGLE),
    ]
    screen = SplicerScreen(_well_spliced(), seed=SEED, estimates_db=_BAD_ESTIMATES_DB)
    return sorted(
        (record for work in works for record in screen.splice_site(work)), key=lambda record: record["made_at"]
    )


def _re_splices() -> list[Body]:
    return [
        _second_attempt("C2", 7, hand=_ILSE, splicer_serial="FS-2207", made_at=_at(9, 15, 45)),
        _second_attempt("C4", 18, hand=_TOBIN, splicer_serial="FS-2208", made_at=_at(9, 15, 50)),
    ]


def _sealing() -> list[Body]:
    sealed = [
        ("C1", _ILSE, _at(10, 8, 10)),
        ("C4", _TOBIN, _at(10, 8, 25)),
        ("C2", _ILSE, _at(10, 9, 40)),
        ("C5", _TOBIN, _at(10, 10, 5)),
        ("C3", _ILSE, _at(10, 11, 20)),
    ]
    return [
        closure_record(f"seal/{site}/1", site=site, state="sealed", photographs=2, hand=hand, made_at=made_at)
        for site, hand, made_at in sealed
    ]


def _repair() -> list[Body]:
    return [
        closure_record("open/C5/1", site="C5", state="opened", photographs=1, hand=_TOBIN, made_at=_at(12, 9, 10)),
        closure_record("seal/C5/2", site="C5", state="sealed", photographs=2, hand=_TOBIN, made_at=_at(12, 10, 25)),
    ]


def _conflict() -> Body:
    """Give the first attempt at C2 fibre 7 once more under its own id, with a better estimate."""
    [first] = [record for record in _splicing() if record["site"] == "C2" and record["joints"][0]["fibre"] == 7]
    return first | {"joints": [first["joints"][0] | {"estimate_db": _CONFLICTING_ESTIMATE_DB}]}


def _second_attempt(site: str, fibre: int, *, hand: Hand, splicer_serial: str, made_at: datetime) -> Body:
    screen = SplicerScreen(_well_spliced(), seed=SEED + 1, estimates_db={})
    return splice_record(
        f"splice/{site}/{fibre}/2",
        site=site,
        joints=[screen.joint(site=site, fibre=fibre)],
        attempt=2,
        splicer=single_splicer(splicer_serial),
        hand=hand,
        made_at=made_at,
    )


def _well_spliced() -> RouteTruth:
    # The splicer's camera sees the splice, not the tray: the pinched fibre at C5 looks as good as after its repair.
    return repaired_truth()


def _gear() -> Gear:
    return make_gear(hand_at_a=_NADJA, hand_at_b=_TOBIN, loss_threshold_db=0.02, pulse_ns=100, range_m=40_000.0)


def _at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 3, day, hour, minute, tzinfo=_ZONE)
