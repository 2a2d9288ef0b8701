"""Whoever changes what is drawn raises the form of the pages: those drawn before could not be proven any more."""

import hashlib
from io import BytesIO
from typing import Any

from pypdf import PdfReader

from tests.package_factories import make_content
from tests.package_reading import draw_content
from tests.unit.package.judged import judged_content
from worker.package.data.content import PAGES_FORM

# What pages of this form are made of. Once a package of it is in anybody's hands, a change of the drawing gets a new
# number here and in PAGES_FORM; before, the digest alone changes.
DRAWN = {2: "d9991108cf4f5992fa75bd2afda43f4cde6e0031c464063eaab99d66007ac93a"}


# By its number an object of the drawing is looked for in a file; with other numbers, too, the form is another.
NUMBERED = {2: "e6018551d1c7e4ff0015d08b8fc7db277e0708310c957fcb42ed0c59934d2b5d"}


def drawn_digest() -> str:
    """Return the digest of everything that the pages of two packages paint, and of the fonts they paint it with."""
    digest = hashlib.sha256()
    for content in (make_content(), judged_content()):
        for page in PdfReader(BytesIO(draw_content(content))).pages:
            painted = page.get_contents()
            assert painted is not None
            digest.update(painted.get_data())
            resources: Any = page["/Resources"]
            for _, font in sorted(resources["/Font"].items()):
                digest.update(font["/FontDescriptor"]["/FontFile2"].get_data())
    return digest.hexdigest()


def numbers_digest() -> str:
    """Return the digest of the numbers of all objects that the pages of two packages lead to."""
    digest = hashlib.sha256()
    for content in (make_content(), judged_content()):
        for page in PdfReader(BytesIO(draw_content(content))).pages:
            resources: Any = page["/Resources"]
            numbered = [page.indirect_reference, page.raw_get("/Contents"), resources.raw_get("/Font")]
            for name, font in sorted(resources["/Font"].items()):
                descriptor = font["/FontDescriptor"]
                numbered += [resources["/Font"].raw_get(name), font.raw_get("/ToUnicode")]
                numbered += [font.raw_get("/FontDescriptor"), descriptor.raw_get("/FontFile2")]
            digest.update(str([one.idnum for one in numbered]).encode())
    return digest.hexdigest()


def test_pages_that_are_drawn_otherwise_are_of_another_form() -> None:
    assert {PAGES_FORM: drawn_digest()} == DRAWN, "raise PAGES_FORM (worker/package/data/content)"
    assert {PAGES_FORM: numbers_digest()} == NUMBERED, "raise PAGES_FORM (worker/package/data/content)"
