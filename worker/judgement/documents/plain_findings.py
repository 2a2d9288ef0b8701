"""Write findings that plainly conform straight as canonical JSON: what they say alike, and between it the rest."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import chain, repeat
from typing import NamedTuple

import orjson

from service.vocabulary.criteria.words import Force, Quantity, Unit
from service.vocabulary.findings.finding import Direction
from service.vocabulary.findings.words import Outcome
from worker.judgement.fibre.findings import JointRun, PlainFindings, RecordedValues
from worker.judgement.fibre.losses import PlainLosses
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, db_text, mdb_text
from worker.judgement.words import DIRECTION_LABELS

# Of how many runs and criteria the templates are kept, 20 kB where a run has 40 joints.
_KEPT = 256
_A_TO_B, _B_TO_A = DIRECTION_LABELS[True], DIRECTION_LABELS[False]


class RestsOn(NamedTuple):
    """What plain findings rest on, by joint or place: in words, and as readings."""

    said: Sequence[str]
    readings: Sequence[str]


def plain_text(found: PlainFindings, kept: dict[int, RestsOn]) -> str:
    """Return findings as canonical JSON, without the brackets around them.

    What all criteria of one wavelength rest on is written once for a fibre, and `kept`.
    """
    criterion, limit, fibre, run, first, end, said_before, values, shown, _ = found
    said, readings = _rests_on(shown, run, kept)
    own = slice(first, end)
    kind = criterion.code, criterion.force, criterion.quantity, criterion.at_wavelength_nm
    if limit is None:
        columns: tuple[Iterable[object], ...] = said[own], repeat(fibre, end - first), readings[own]
        templates = _templates(run, said_before, *kind)
    else:
        most_tenth_mdb = int(limit.exact) // PDB_PER_TENTH_MDB
        margins = [most_tenth_mdb - value for value in values]
        columns = (
            said[own],
            repeat(fibre, end - first),
            map(db_text, margins),
            readings[own],
            map(db_text, values),
        )
        templates = _templates(run, said_before, *kind, limit.text, limit.unit)
    return ",".join(templates[own]) % tuple(chain.from_iterable(zip(*columns, strict=True)))


def _rests_on(shown: PlainLosses | RecordedValues, run: JointRun, kept: dict[int, RestsOn]) -> RestsOn:
    if isinstance(shown, RecordedValues):
        return _recorded(shown)
    known = kept.get(id(shown))
    if known is None:
        known = kept[id(shown)] = _both_ways(shown)
    said, readings = known
    return RestsOn(run.pick(said), run.pick(readings))


def _both_ways(losses: PlainLosses) -> RestsOn:
    """Return what both directions read at each place; nothing at those that are not plain."""
    there = [mdb_text(loss_mdb or 0) for loss_mdb in losses.there.losses_mdb]
    back = [mdb_text(loss_mdb or 0) for loss_mdb in losses.back.losses_mdb]
    first = f'{{"direction":"{Direction.A_TO_B}","distance_m":"'
    to_value = f'","record":"{losses.there_record}","value":"'
    second = f'"}},{{"direction":"{Direction.B_TO_A}","distance_m":"'
    to_other = f'","record":"{losses.back_record}","value":"'
    readings = [
        f'{first}{at_m}{to_value}{one}{second}{back_m}{to_other}{other}"}}'
        for at_m, one, back_m, other in zip(losses.there.at_m, there, losses.back.at_m, back, strict=True)
    ]
    said = [f"{one} dB ({_A_TO_B}) and {other} dB ({_B_TO_A})" for one, other in zip(there, back, strict=True)]
    return RestsOn(said, readings)


def _recorded(values: RecordedValues) -> RestsOn:
    readings = [
        f'{{"record":"{record}","value":"{mdb_text(value_mdb)}"}}'
        for record, value_mdb in zip(values.records, values.values_mdb, strict=True)
    ]
    return RestsOn([""] * len(readings), readings)


@lru_cache(maxsize=_KEPT)
def _templates(
    run: JointRun,
    said_before: str,
    code: str,
    force: Force,
    quantity: Quantity,
    wavelength_nm: int | None,
    limit: str | None = None,
    unit: Unit | None = None,
) -> Sequence[str]:
    """Return what all findings about each joint of a run say, with room for the rest in the order of the columns."""
    margin = "" if limit is None else f',"limit":"{limit}","margin":"%s"'
    value = "" if unit is None else f',"unit":"{unit}","value":"%s"'
    at_wavelength = "" if wavelength_nm is None else f',"wavelength_nm":{wavelength_nm}'
    return [
        f'{{"criterion":{_named(code)},"detail":"{said_before}%s","fibre":%s,"force":"{force}"{margin},'
        f'"outcome":"{Outcome.CONFORMING}","position":{joint.position},"quantity":"{quantity}","readings":[%s],'
        f'"segments":[{_named(joint.segment)}],"site":{_named(joint.site)}{value},"void":[]{at_wavelength}}}'
        for joint in run.joints
    ]


def _named(text: str) -> str:
    """Return a name as JSON, in which no sign asks for a value."""
    return orjson.dumps(text).decode().replace("%", "%%")
