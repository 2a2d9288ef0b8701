"""The keys of what links lead to."""


def section_key(number: int) -> str:
    """Return the key of a section's heading."""
    return f"section-{number}"


def page_key(number: int | str) -> str:
    """Return the key of a page."""
    return f"page-{number}"


def fibre_key(fibre: str) -> str:
    """Return the key of a fibre's line in the index."""
    return f"fibre-{fibre}"
