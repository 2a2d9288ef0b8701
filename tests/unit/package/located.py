"""What a verdict says of where sites lie."""

from service.vocabulary.findings.finding import SpotsDocument


def make_spots(*fibres: tuple[int, int], **sites: tuple[int, int, int]) -> SpotsDocument:
    """Return where some fibres show sites, how far from there an event may lie, and on how many they are seen."""
    from_a_m, within_m, seen_on = (list(column) for column in zip(*sites.values(), strict=True))
    return {
        "fibres": [{"first": first, "last": last} for first, last in fibres],
        "sites": list(sites),
        "from_a_m": from_a_m,
        "within_m": within_m,
        "seen_on": seen_on,
    }
