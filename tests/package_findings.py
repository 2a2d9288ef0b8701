"""Findings as the judge writes them, made by hand for packages."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from service.vocabulary.findings.finding import FIBRE_FORM, FibreDocument, FindingDocument, ReadingDocument

WAVELENGTHS_NM = (1310, 1550)
_WHOLE_LINK = {"from_site": "T-A", "to_site": "T-B", "segments": ["SEG-1", "SEG-2"]}


def make_fibre(fibre: int, *, closure_count: int) -> FibreDocument:
    """Return a fibre's document: joints at each closure, both ends, the link, and a missing test on fibre 2."""
    findings = [
        make_joint_finding(fibre, site=f"C{number:02d}", wavelength_nm=nm, step=fibre * 7 + number * 3 + nm)
        for number in range(1, closure_count + 1)
        for nm in WAVELENGTHS_NM
    ]
    findings += _findings_about_the_link(fibre)
    return {"form": FIBRE_FORM, "fibre": fibre, "findings": findings, "work": [], "unexpected_events": []}


def make_finding(fibre: int, criterion: str, quantity: str, **members: Any) -> FindingDocument:
    """Return a required finding that conforms, with other members changed or added."""
    finding: FindingDocument = {
        "criterion": criterion,
        "quantity": quantity,
        "force": "required",
        "fibre": fibre,
        "segments": ["SEG-1"],
        "outcome": "conforming",
        "detail": "mean of both directions",
        "readings": [],
        "void": [],
    }
    return {**finding, **members}  # type: ignore[typeddict-item]


def make_joint_finding(fibre: int, *, site: str, wavelength_nm: int, step: int) -> FindingDocument:
    """Return a joint's finding; every thirteenth is over its limit, every seventh known only within bounds."""
    forward_mdb, backward_mdb = 20 + step % 71, (10 if step % 13 else 130) - step % 31
    total_mdb = forward_mdb + backward_mdb
    conforms = total_mdb <= 200
    finding = make_finding(
        fibre,
        f"SPL-{wavelength_nm}",
        "splice_loss",
        segments=["SEG-1" if site <= "C01" else "SEG-2"],
        outcome="conforming" if conforms else "nonconforming",
        detail="mean of both directions" if conforms else "mean of both directions over the limit",
        site=site,
        position=1,
        wavelength_nm=wavelength_nm,
        **_held(limit="0.100", margin=f"{(200 - total_mdb) / 2000:.4f}"),
        readings=[_reading("a_to_b", value=f"{forward_mdb / 1000:.3f}")],
    )
    if conforms and step % 7 == 0:
        finding["readings"].append(_reading("b_to_a", within="0.020"))
        low, high = (forward_mdb - 20) / 2000, (forward_mdb + 20) / 2000
        return {**finding, "low": f"{low:.4f}", "high": f"{high:.4f}", "margin": f"{0.1 - high:.4f}"}
    finding["readings"].append(_reading("b_to_a", value=f"{backward_mdb / 1000:.3f}"))
    return {**finding, "value": f"{total_mdb / 2000:.4f}"}


def _findings_about_the_link(fibre: int) -> Iterator[FindingDocument]:
    at_1550: dict[str, Any] = {"wavelength_nm": 1550}
    for site, segment in (("T-A", "SEG-1"), ("T-B", "SEG-2")):
        at_end = {
            **at_1550,
            "site": site,
            "position": 1,
            "segments": [segment],
            "readings": _both_ways("0.300", "0.342"),
        }
        held = _held(value="0.3210", limit="0.600", margin="0.2790")
        yield make_finding(fibre, "TRM-1550", "termination_loss", **at_end, **held)
    yield make_finding(
        fibre,
        "LNK-1550",
        "link_attenuation",
        **_WHOLE_LINK,
        **at_1550,
        detail="mean of both directions within the budget",
        **_held(value="2.2150", limit="2.9455", margin="0.7305"),
        readings=_both_ways("2.200", "2.230"),
    )
    if fibre == 2:
        missing = {"outcome": "undetermined", "reason": "one_direction_only", "detail": "no trace from T-B at 1310 nm"}
        yield make_finding(fibre, "TST-1310", "required_test", **_WHOLE_LINK, **missing, wavelength_nm=1310)


def _held(**values: str) -> dict[str, str]:
    return {"unit": "dB", **values}


def _both_ways(forward: str, backward: str) -> list[ReadingDocument]:
    return [_reading("a_to_b", value=forward), _reading("b_to_a", value=backward)]


def _reading(direction: str, **values: str) -> ReadingDocument:
    reading: ReadingDocument = {"record": str(UUID(int=101)), "direction": direction}
    return {**reading, **values}  # type: ignore[typeddict-item]
