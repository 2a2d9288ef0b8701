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
DRAWN = {2: "ee5fa864b695f6ca54cdba268a53f41cc665a1cbe3762d5d71c3c9705de131ba"}


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


def test_pages_that_are_drawn_otherwise_are_of_another_form() -> None:
    assert {PAGES_FORM: drawn_digest()} == DRAWN, "raise PAGES_FORM (worker/package/data/content)"
