"""Text from outside, made harmless for a page: no controls, nothing that turns the reading direction."""

import unicodedata
from collections.abc import Container

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
# Line ends and tabs part words, so they become spaces; every other control goes.
_PARTING = frozenset("\t\n\v\f\r\x1c\x1d\x1e\x1f\x85\u2028\u2029")


def without_controls(text: str) -> str:
    """Return text without control, format and surrogate characters."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(map(_harmless, text))


def with_glyphs(text: str, known: Container[int]) -> str:
    """Return text in which each character that the face cannot draw is visibly replaced."""
    return "".join(character if ord(character) in known else REPLACEMENT for character in without_controls(text))


def _harmless(character: str) -> str:
    if character in _PARTING:
        return " "
    category = unicodedata.category(character)
    if category in {"Cc", "Cf"}:
        return ""
    return REPLACEMENT if category in {"Cs", "Co", "Cn"} else character
