"""The symbol on the first page read by a reader that shares nothing with its drawing: zxing-cpp, on rendered pixels."""

import subprocess
from pathlib import Path

import numpy as np
import pytest
import zxingcpp

from tests.outside_tools import require_tool
from tests.package_factories import make_content
from tests.package_reading import draw_content

CODE, URL = "K7QM-2XVD-91TB-PW5E", "https://acceptance.example/fibre/v1/verifications/K7QM-2XVD-91TB-PW5E"


def symbols_on_first_page(pdf: bytes, folder: Path, *, dpi: int) -> list[str]:
    """Return what the symbols on a page say that is rendered as coarsely as a telephone sees it."""
    file, picture = folder / "package.pdf", folder / "page"
    file.write_bytes(pdf)
    tool = require_tool("pdftoppm")
    subprocess.run(
        [tool, "-r", str(dpi), "-l", "1", "-gray", "-singlefile", str(file), str(picture)], check=True, timeout=60
    )
    _, size, _, pixels = picture.with_suffix(".pgm").read_bytes().split(b"\n", 3)
    width, height = map(int, size.split())
    image = np.frombuffer(pixels, dtype=np.uint8).reshape(height, width)
    return [found.text for found in zxingcpp.read_barcodes(image)]


@pytest.mark.parametrize("dpi", [72, 150])
@pytest.mark.parametrize(("url", "said"), [(None, CODE), (URL, URL)])
def test_the_symbol_leads_to_what_became_of_the_package(tmp_path: Path, url: str | None, said: str, dpi: int) -> None:
    content = make_content(verification_code=CODE, verification_url=url)
    assert symbols_on_first_page(draw_content(content), tmp_path, dpi=dpi) == [said]
