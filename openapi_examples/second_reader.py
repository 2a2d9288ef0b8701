"""Recompute a package from the data attached to it, with no code of the service: `python second_reader.py FILE.pdf`.

It needs pypdf and nothing else. Every digest, every splice, termination and end-to-end loss with its outcome, and the
counts of every segment are worked out anew; what differs is printed, and the exit code is 0 only if nothing does. The
forms of the attached files are in package_schemas.json. Signatures are not looked at: other programs do that.
"""

import hashlib
import json
import sys
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from pypdf import PdfReader

RECOMPUTED = {"splice_loss", "termination_loss", "link_attenuation"}
MOST_EVENTS_IN_A_GROUP = 6
MEASURED, SAID = {"otdr", "attenuation"}, {"value", "within"}


def digest(document: Any) -> str:
    """Return the SHA-256 of a document's canonical JSON (RFC 8785): sorted names, no spaces, UTF-8."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def readable_losses(record: Any, distance_m: str | None) -> set[Decimal]:
    """Return what a record can have said: of a source and meter one loss, of a trace its events from a distance on."""
    if record["kind"] == "attenuation":
        return {Decimal(record["loss_db"])}
    events = record["events"]
    first = next(index for index, event in enumerate(events) if event["distance_m"] == distance_m)
    losses = [Decimal(event.get("loss_db", "NaN")) for event in events[first : first + MOST_EVENTS_IN_A_GROUP]]
    return {sum(losses[:count], Decimal(0)) for count in range(1, len(losses) + 1)}


def bounds_of(reading: Any, records: dict[str, Any]) -> tuple[Decimal, Decimal]:
    """Return between what a reading lies; what was not seen is within the trace's own threshold, and noise on top.

    Of a trace without a stated range nothing is known of its noise, so that the threshold alone is left.
    """
    record = records[reading["record"]]
    if "within" in reading:
        within = Decimal(reading["within"])
        noise = within - Decimal(record["loss_threshold_db"])
        assert noise >= 0 if "dynamic_range" in record else noise == 0, "the threshold is not the trace's"
        return -within, within
    value = Decimal(reading["value"])
    assert value in readable_losses(record, reading.get("distance_m")), "the record does not say this"
    return value, value


def recompute(finding: Any, records: dict[str, Any], criteria: dict[str, Any]) -> None:
    """Work one finding out anew; a difference is an AssertionError."""
    # A splice's record tells of attempts, and a trace beside source and meter says no loss of its own.
    told = [
        one
        for one in finding["readings"]
        if records[one["record"]]["kind"] in MEASURED and not one.keys().isdisjoint(SAID)
    ]
    bounds = [bounds_of(reading, records) for reading in told]
    if "reason" in finding or not bounds:
        assert finding["outcome"] == "undetermined" or "reason" not in finding
        return
    criterion = criteria[finding["criterion"]]
    is_worse = criterion.get("combination") == "worse" or criterion.get("basis") in {"one_way", "each_way"}
    low, high = (max(side) if is_worse else sum(side) / len(side) for side in zip(*bounds, strict=True))
    said = [Decimal(finding.get("value", finding.get(name, "NaN"))) for name in ("low", "high")]
    assert said == [low, high], f"{low} to {high}, and it says {said[0]} to {said[1]}"
    if "uncertainty" not in finding:
        limit = Decimal(finding["limit"])
        outcome = "conforming" if high <= limit else "nonconforming" if low > limit else "undetermined"
        assert finding["outcome"] == outcome, f"{outcome}, and it says {finding['outcome']}"


def differences(files: dict[str, Any]) -> Iterator[str]:
    """Give every difference between what a package says and what its own data come to."""
    found, about = files["findings.json"], files["package.json"]
    verdict, records = (
        found["verdict"],
        {one["record"]["id"]: one["record"] for one in files["records.json"]["records"]},
    )
    criteria = {one["code"]: one for one in files["criteria.json"]["criteria"]}
    digests = [digest(fibre) for fibre in found["fibres"]]
    for name, own, said in (
        ("the fibres", digests, verdict["fibres"]),
        ("the verdict", digest(verdict), found["verdict_digest"]),
        ("the package's verdict", found["verdict_digest"], about["verdict_digest"]),
        ("the design", digest(files["design.json"]), verdict["design_sha256"]),
        ("the criteria", digest(files["criteria.json"]), verdict["criteria_sha256"]),
    ):
        if own != said:
            yield f"the digest of {name} is another"
    counts: dict[str, Counter[str]] = {segment: Counter() for segment in verdict["segments"]}
    counting = [one for one in found["fibres"] if one["fibre"] not in verdict.get("tolerated_dark", [])]
    for finding in [*verdict["findings"], *(finding for fibre in counting for finding in fibre["findings"])]:
        for segment in finding["segments"] if finding["force"] == "required" else ():
            counts[segment][finding["outcome"]] += 1
        try:
            if finding["quantity"] in RECOMPUTED:
                recompute(finding, records, criteria)
        except (AssertionError, LookupError, StopIteration) as error:
            where = f"fibre {finding['fibre']} at {finding.get('site', 'its ends')}"
            yield f"{finding['criterion']}, {where}: {error or type(error).__name__}"
    for segment, came_to in verdict["segments"].items():
        if Counter(came_to["counts"]) != counts[segment]:
            yield f"segment {segment} comes to {dict(counts[segment])}, and it says {came_to['counts']}"


def main(file: Path) -> int:
    """Read a package and print what differs."""
    attached = PdfReader(file).attachments
    files = {name: json.loads(contents[0]) for name, contents in attached.items()}
    differing = list(differences(files))
    count = sum(
        one["quantity"] in RECOMPUTED for fibre in files["findings.json"]["fibres"] for one in fibre["findings"]
    )
    print(*differing, f"{count} findings recomputed, {len(differing)} differences", sep="\n")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
