"""Tests that do not count, and tests that were made again: testing until it conforms is shown, not hidden."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from service.vocabulary.records.words import RecordKind
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding
from worker.package.data.records import RecordOutline
from worker.package.document_model import Role, Section, listing
from worker.package.phrases import number_text, utc_text, words
from worker.package.sections.columns import Shown, number_column, table_of, text_column
from worker.package.wording.records import TESTS, ends_text, named_test, result_text, telling_digits

_NOTE = (
    "Each test that was set aside for some finding, with the reason, and each test of which there is more than "
    "one: same fibre, ends, wavelength and pulse. The result is what the test says as posted. A record is named by so "
    "many first digits as tell all records of this package apart; the attached records hold every trace."
)
# More places than this are counted instead of named.
_NAMED_PLACES = 3
_UNUSED = "no finding rests on it"

# A record's id -> why it was set aside -> the findings for which it was.
_Void = Mapping[str, Mapping[str, Sequence[Finding]]]
# Fibre, kind, wavelength, ends and pulse of a test.
_Subject = tuple[int, RecordKind, int, str, int]


def set_aside_section(
    content: PackageContent, findings: Sequence[Finding], records: Sequence[RecordOutline]
) -> Section:
    """Return the tests set aside and the tests repeated, by fibre and subject in order of time."""
    void, again = _void_of(findings), _repeated(content, records)
    listed = [record for record in records if record.id in void or record.id in again]
    digits = telling_digits([record.id for record in records])
    used = _used(content) if listed else frozenset()
    columns: tuple[Shown[RecordOutline], ...] = (
        number_column("Fibre", 26, lambda one: number_text(one.fibre), role=Role.FIBRE_LINK),
        text_column("Test", 84, named_test),
        text_column("From and to", 56, ends_text),
        text_column("Made", 76, lambda one: utc_text(one.made_at), unit="UTC"),
        text_column("Result", 52, result_text),
        text_column("What became of it", 150, lambda one: _fate_text(void.get(one.id, {}), is_used=one.id in used)),
        text_column("Record", 40, lambda one: one.id[:digits]),
    )
    in_order = sorted(listed, key=lambda one: (*_subject_of(one), one.made_at, one.id))
    table = table_of(columns, in_order, is_grouped=True)
    return listing(title="Tests set aside and tests repeated", blocks=[table], note=_NOTE)


def _void_of(findings: Sequence[Finding]) -> _Void:
    void: defaultdict[str, defaultdict[str, list[Finding]]] = defaultdict(lambda: defaultdict(list))
    for finding in findings:
        for set_aside in finding.void:
            void[set_aside["record"]][set_aside["reason"]].append(finding)
    return void


def _repeated(content: PackageContent, records: Sequence[RecordOutline]) -> frozenset[str]:
    """Return the tests of which there is more than one on a fibre that is submitted."""
    scope = content.fibres_in_scope
    same: defaultdict[_Subject, list[str]] = defaultdict(list)
    for record in records:
        if record.kind in TESTS and record.fibre in scope:
            same[_subject_of(record)].append(record.id)
    return frozenset(id_ for ids in same.values() if len(ids) > 1 for id_ in ids)


def _subject_of(record: RecordOutline) -> _Subject:
    return record.fibre or 0, record.kind, record.wavelength_nm or 0, ends_text(record), record.pulse_ns or 0


def _used(content: PackageContent) -> frozenset[str]:
    return frozenset(reading["record"] for finding in content.all_findings() for reading in finding["readings"])


def _fate_text(void: Mapping[str, Sequence[Finding]], *, is_used: bool) -> str:
    texts = ["counts"] if is_used else []
    texts += [f"{words(reason)}: {_named(findings)}" for reason, findings in sorted(void.items())]
    return "; ".join(texts) or _UNUSED


def _named(findings: Sequence[Finding]) -> str:
    sites_of: defaultdict[str, list[str]] = defaultdict(list)
    for finding in findings:
        sites_of[finding.criterion] += [finding.site] if finding.site is not None else []
    return ", ".join(f"{criterion}{_at_text(sites)}" for criterion, sites in sites_of.items())


def _at_text(sites: Sequence[str]) -> str:
    places = list(dict.fromkeys(sites))
    if not places:
        return ""
    return f" at {', '.join(places)}" if len(places) <= _NAMED_PLACES else f" at {len(places)} sites"
