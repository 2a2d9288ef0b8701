"""Write findings: as documents, and those that nearly all are from templates, straight as canonical JSON."""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import NamedTuple

import orjson

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.words import DecisionRule, Force, Quantity, Unit
from service.vocabulary.findings.finding import Direction, FindingDocument, ReadingDocument, RecordReading, VoidDocument
from service.vocabulary.findings.words import Grade, Outcome, Reason
from worker.judgement.documents.plain_findings import RestsOn, plain_text
from worker.judgement.fibre.findings import Finding, PlainFindings
from worker.judgement.numbers.exact import Exact, parts_text, reading_text
from worker.judgement.numbers.limits import Limit

# The text of each word: asking a member of an enum for its value takes as long as all else about a reading.
_TEXT: Mapping[str, str] = {
    word: word.value for words in (Direction, Grade, Outcome, Quantity, Force, Reason, Unit) for word in words
}
_CONFORMING, _SIMPLE = Outcome.CONFORMING, DecisionRule.SIMPLE


# Lists that most findings have alike are one for all, which nobody changes: a package holds a hundred thousand findings
# at once, of which such lists were 20 MB.
_NOTHING_VOID: list[VoidDocument] = []


class _Template(NamedTuple):
    """What findings that conform to one criterion, each about a joint, have in common: between what each says."""

    to_detail: str
    to_fibre: str
    to_margin: str
    to_position: str
    to_readings: str
    to_value: str
    to_end: str


def write_finding(finding: Finding) -> FindingDocument:
    """Return a finding as a document."""
    criterion, wavelength_nm = finding.criterion, finding.wavelength_nm
    outcome, reason, detail, bounds, limit, readings, void, grade, by_fallback = finding.judged
    document: FindingDocument = {
        "criterion": criterion.code,
        "quantity": _TEXT[criterion.quantity],
        "force": _TEXT[criterion.force],
        "segments": _listed(finding.segments),
        "outcome": _TEXT[outcome],
        "detail": detail,
        "readings": [_reading(reading) for reading in readings],
        "void": [{"record": one.record, "reason": _TEXT[one.reason]} for one in void] if void else _NOTHING_VOID,
    }
    if wavelength_nm is not None:
        document["wavelength_nm"] = wavelength_nm
    if reason is not None:
        document["reason"] = _TEXT[reason]
    if grade is not None:
        document["grade"] = _TEXT[grade]
    if by_fallback:
        document["by_fallback"] = True
    if limit is not None:
        _add_limit(document, limit, bounds)
    _add_subject(document, finding)
    return document


def finding_texts(found: Iterable[Finding | PlainFindings]) -> str:
    """Return findings as canonical JSON."""
    kept: dict[int, RestsOn] = {}
    texts = [plain_text(one, kept) if isinstance(one, PlainFindings) else _finding_text(one) for one in found]
    return f"[{','.join(texts)}]"


def _finding_text(finding: Finding) -> str:
    return _from_template(finding) or canonical_json(write_finding(finding)).decode()


def _from_template(finding: Finding) -> str | None:
    """Return a finding about a joint that conforms, as nearly all do, at once; None where it says anything unusual.

    A route has a hundred thousand of them.
    """
    criterion, judged, segments, fibre, site, position, side, *_ = finding
    outcome, _, detail, bounds, limit, readings, void, _, by_fallback = judged
    if outcome is not _CONFORMING or position is None or site is None or side is not None or void or by_fallback:
        return None
    margin = value = ""
    if limit is None:
        own = _template(criterion.code, criterion.force, criterion.quantity, finding.wavelength_nm)
    elif bounds is None or bounds[0] != bounds[1] or limit.rule is not _SIMPLE or limit.is_minimum:
        return None
    else:
        kind = criterion.code, criterion.force, criterion.quantity, finding.wavelength_nm
        own = _template(*kind, limit.text, limit.unit)
        margin = parts_text(limit.exact - bounds[0], limit.places)
        value = parts_text(bounds[0], limit.places)
    said = ",".join([_reading_text(one) for one in readings])
    return (
        f"{own.to_detail}{orjson.dumps(detail).decode()}{own.to_fibre}{fibre}{own.to_margin}{margin}{own.to_position}"
        f"{position}{own.to_readings}{said}{_place_text(segments, site)}{own.to_value}{value}{own.to_end}"
    )


@lru_cache(maxsize=1024)
def _listed(segments: tuple[str, ...]) -> list[str]:
    return list(segments)


@lru_cache(maxsize=4096)
def _template(
    code: str,
    force: Force,
    quantity: Quantity,
    wavelength_nm: int | None,
    limit: str | None = None,
    unit: Unit | None = None,
) -> _Template:
    quote = '"' if limit is not None else ""
    return _Template(
        to_detail=f'{{"criterion":{_quoted(code)},"detail":',
        to_fibre=',"fibre":',
        to_margin=f',"force":"{force}"' + ("" if limit is None else f',"limit":"{limit}","margin":"'),
        to_position=f'{quote},"outcome":"{_CONFORMING}","position":',
        to_readings=f',"quantity":"{quantity}","readings":[',
        to_value="" if unit is None else f',"unit":"{unit}","value":"',
        to_end=quote + ',"void":[]' + ("}" if wavelength_nm is None else f',"wavelength_nm":{wavelength_nm}}}'),
    )


@lru_cache(maxsize=1 << 14)
def _place_text(segments: tuple[str, ...], site: str) -> str:
    return f'],"segments":[{",".join(map(_quoted, segments))}],"site":{_quoted(site)}'


def _quoted(text: str) -> str:
    return orjson.dumps(text).decode()


def _reading_text(reading: RecordReading) -> str:
    """Return a reading as canonical JSON: what an event of a trace loses at once, as nearly all are."""
    record, direction, wavelength_nm, value, within, places, distance_m = reading
    if direction is None or value is None or distance_m is None or wavelength_nm is not None or within is not None:
        return canonical_json(_reading(reading)).decode()
    return (
        f'{{"direction":"{_TEXT[direction]}","distance_m":"{distance_m}",'
        f'"record":"{record}","value":"{reading_text(value, places)}"}}'
    )


def _add_subject(document: FindingDocument, finding: Finding) -> None:
    _, _, _, fibre, site, position, side, section, from_site, to_site, population, members = finding
    if fibre is not None:
        document["fibre"] = fibre
    if site is not None:
        document["site"] = site
    if position is not None:
        document["position"] = position
    if side is not None:
        document["side"] = side.value
    if section is not None:
        document["section"] = section
    if from_site is not None and to_site is not None:
        document["from_site"], document["to_site"] = from_site, to_site
    if population is not None and members is not None:
        document["population"], document["count"] = population.value, members


def _add_limit(document: FindingDocument, limit: Limit, bounds: tuple[Exact, Exact] | None) -> None:
    document["unit"], document["limit"] = _TEXT[limit.unit], limit.text
    if limit.is_minimum:
        document["limit_is"] = "least"
    if limit.rule is not _SIMPLE:
        document["uncertainty"] = parts_text(limit.band, limit.places)
    if bounds is None:
        return
    low, high = bounds
    # A value known exactly has no bounds; the margin is that of the worse bound, which decides.
    if low == high:
        document["value"] = parts_text(low, limit.places)
    else:
        document["low"], document["high"] = parts_text(low, limit.places), parts_text(high, limit.places)
    margin = low - limit.exact if limit.is_minimum else limit.exact - high
    document["margin"] = parts_text(margin, limit.places)


def _reading(reading: RecordReading) -> ReadingDocument:
    record, direction, wavelength_nm, value, within, places, distance_m = reading
    document: ReadingDocument = {"record": record}
    if direction is not None:
        document["direction"] = _TEXT[direction]
    if wavelength_nm is not None:
        document["wavelength_nm"] = wavelength_nm
    if value is not None:
        document["value"] = reading_text(value, places)
    if within is not None:
        document["within"] = reading_text(within, places)
    if distance_m is not None:
        document["distance_m"] = distance_m
    return document
