"""What keeps a package of many fibres within memory gives the same as if everything were held at once."""

import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime
from hashlib import sha256

import orjson
import pytest

from service.vocabulary.canonical import canonical_json
from tests.package_factories import make_content
from worker.package.archive.document import pack
from worker.package.data.attachments import attachments
from worker.package.pages.drawing import draw
from worker.package.view import build_view
from worker.signing.check.parsing import read_attachment
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust

_MEGABYTE = 1 << 20


@pytest.mark.parametrize("name", sorted(attachments(make_content())))
def test_a_file_written_piece_by_piece_is_canonical(name: str) -> None:
    file = attachments(make_content())[name]
    assert file == canonical_json(orjson.loads(file))


def test_an_attachment_larger_than_memory_allows_is_digested_all_the_same() -> None:
    packed = pack(_zeros(200))
    pdf = draw(build_view(make_content()), attachments={"large.json": packed})
    tracemalloc.start()
    report = verify(pdf, trust=RoleTrust(service=()), now=datetime.now(UTC))
    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert report.attachments == {"large.json": packed.sha256}
    assert most_bytes < 20 * _MEGABYTE


def test_a_packed_file_is_the_one_that_is_read_back() -> None:
    parts = [b'{"fibres":[', b"1,2,3", b"]}"]
    packed = pack(iter(parts))
    assert (packed.size, packed.sha256) == (18, sha256(b"".join(parts)).hexdigest())
    pdf = draw(build_view(make_content()), attachments={"some.json": packed})
    assert read_attachment(pdf, "some.json") == b"".join(parts)


def _zeros(megabytes: int) -> Iterator[bytes]:
    for _ in range(megabytes):
        yield bytes(_MEGABYTE)
