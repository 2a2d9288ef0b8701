"""Write findings that plainly conform straight as canonical JSON: what they say alike, and between it the rest."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import repeat
from typing import NamedTuple

import orjson

from service.vocabulary.criteria.words import Quantity, Unit
from service.vocabulary.findings.finding import Direction
from service.vocabulary.findings.words import Outcome
from worker.judgement.fibre.findings import JointRun, PlainFindings, RecordedValues
from worker.judgement.fibre.losses import PlainLosses
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, db_text, mdb_text
from worker.judgement.words import DIRECTION_LABELS

# Of how many runs and criteria the texts of each joint are kept.
_KEPT = 256
_QUOTE = '"'
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
    wavelength_nm = criterion.at_wavelength_nm
    margins: Iterable[str] = repeat("", end - first)
    texts: Iterable[str] = repeat("", end - first)
    to_margin, unit = "", None
    if limit is not None:
        most_tenth_mdb, unit = int(limit.exact) // PDB_PER_TENTH_MDB, limit.unit
        margins = map(db_text, [most_tenth_mdb - value for value in values])
        texts = map(db_text, values)
        to_margin = f',"limit":"{limit.text}","margin":"'
    to_readings, to_value = _texts_by_joint(run, criterion.quantity, unit)
    to_detail = f'{{"criterion":{_quoted(criterion.code)},"detail":"{said_before}'
    to_margin = f'","fibre":{fibre},"force":"{criterion.force}"{to_margin}'
    at_wavelength = "" if wavelength_nm is None else f',"wavelength_nm":{wavelength_nm}'
    to_end = f'{"" if unit is None else _QUOTE},"void":[]{at_wavelength}}}'
    own = slice(first, end)
    return ",".join(
        [
            f"{to_detail}{detail}{to_margin}{margin}{joint}{reading}{place}{value}{to_end}"
            for detail, margin, joint, reading, place, value in zip(
                said[own], margins, to_readings[own], readings[own], to_value[own], texts, strict=True
            )
        ]
    )


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
def _texts_by_joint(run: JointRun, quantity: Quantity, unit: Unit | None) -> tuple[Sequence[str], Sequence[str]]:
    """Return what stands about each joint of a run before its readings and behind them."""
    quote, to_value = ("", "") if unit is None else ('"', f',"unit":"{unit}","value":"')
    return (
        [
            f'{quote},"outcome":"{Outcome.CONFORMING}","position":{joint.position},"quantity":"{quantity}","readings":['
            for joint in run.joints
        ],
        [f'],"segments":[{_quoted(joint.segment)}],"site":{_quoted(joint.site)}{to_value}' for joint in run.joints],
    )


def _quoted(text: str) -> str:
    return orjson.dumps(text).decode()
