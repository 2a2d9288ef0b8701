"""Packages that earlier releases issued still verify, and say the same; one folder a release, kept as it was issued."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from service.vocabulary.signatures import SignaturePlace, SignedBy
from worker.signing.check.verify import verify
from worker.signing.fields import CONTRACTOR_FIELD, ENGINEER_FIELD, SEAL_FIELD
from worker.signing.report import PackageReport, State
from worker.signing.trust.role_trust import RoleTrust

pytestmark = pytest.mark.slow
RELEASED = Path(__file__).parents[3] / "released"
# The certificates behind them run for a year from the day on which they were issued.
NOW = datetime(2026, 12, 1, tzinfo=UTC)
SEALED, OWN = SignedBy.SERVICE_SEAL, SignedBy.OWN_KEY
# What billing was told in the notices of the release itself.
CERTIFIED_SHA256 = {
    "package_OT-07_1.pdf": "6ba979d1e83cc4bef5ef1a30e7fa694d7924c4fc330baf17055946e11cdad9a0",
    "package_OT-07_2.pdf": "71e2e7625e04d5c3204e684e20990d97c91c0e8e3da8a4fccbc24a5b49d5cbb4",
}


def read(name: str) -> bytes:
    return (RELEASED / "0.2" / name).read_bytes()


def root() -> bytes:
    return read("demonstration_root.pem")


def engineer() -> bytes:
    return read("demonstration_engineer.pem")


def check(pdf: bytes, trust: RoleTrust | None = None) -> PackageReport:
    return verify(pdf, trust=trust or RoleTrust(service=[root()], engineer=[engineer()]), now=NOW)


def ends(pdf: bytes) -> list[int]:
    """Return where each revision ends, the last one left out."""
    mark, found, position = b"%%EOF\n", [], 0
    while (position := pdf.find(mark, position)) >= 0:
        position += len(mark)
        found.append(position)
    return found[:-1]


@pytest.mark.parametrize(
    ("name", "signed_by"),
    [("package_OT-07_1.pdf", (SEALED, SEALED, SEALED)), ("package_OT-07_2.pdf", (SEALED, SEALED, OWN))],
)
def test_a_released_package_is_complete_and_its_seals_are_no_persons_signatures(
    name: str, signed_by: tuple[SignedBy, ...]
) -> None:
    report = check(read(name))
    assert (report.problems, report.state, report.form) == ((), State.COMPLETE, 1)
    assert report.signed_fields == (SEAL_FIELD, CONTRACTOR_FIELD, ENGINEER_FIELD)
    assert tuple(one.signed_by for one in report.signatures) == signed_by
    contractor, person = (one.title for one in report.signatures[1:])
    assert contractor == "the service's seal in the place of the contractor's responsible person"
    sealed = "the service's seal in the place of the owner's engineer"
    assert person == ("the owner's engineer" if signed_by[-1] is OWN else sealed)
    assert report.certified_sha256 == CERTIFIED_SHA256[name]
    assert report.is_demonstration


@pytest.mark.parametrize("name", CERTIFIED_SHA256)
def test_cut_back_it_is_an_earlier_file_that_awaits_what_was_cut_off(name: str) -> None:
    pdf = read(name)
    first, second = ends(pdf)[-2:]
    assert [check(pdf[:end]).problems for end in (first, second)] == [(), ()]
    assert check(pdf[:first]).awaited == (SignaturePlace.CONTRACTOR, SignaturePlace.ENGINEER)
    assert check(pdf[:second]).awaited == (SignaturePlace.ENGINEER,)
    for end in (first - 1, first + 1, second - 100, second + 1, len(pdf) - 1):
        assert check(pdf[:end]).state is State.BAD, end


@pytest.mark.parametrize(
    "trust",
    [
        RoleTrust(service=[root()]),
        RoleTrust(service=[root(), engineer()]),
        RoleTrust(service=[root()], contractor=[engineer()]),
        RoleTrust(service=[engineer()], engineer=[engineer()]),
        RoleTrust(service=[engineer()], contractor=[root()], engineer=[root(), engineer()]),
    ],
    ids=["service alone", "engineer as service", "engineer as contractor", "no root", "root as people"],
)
def test_with_keys_trusted_in_other_roles_it_is_bad(trust: RoleTrust) -> None:
    assert check(read("package_OT-07_2.pdf"), trust).state is State.BAD


def test_one_changed_byte_is_seen() -> None:
    pdf = bytearray(read("package_OT-07_2.pdf"))
    pdf[len(pdf) // 3] ^= 1
    assert check(bytes(pdf)).state is State.BAD
