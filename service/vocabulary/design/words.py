"""The closed lists of words about what is built."""

from enum import StrEnum


class SiteKind(StrEnum):
    """A place where fibres are joined or end; in a stub they end unconnected, until more is built behind it."""

    TERMINAL = "terminal"
    SPLICE_CLOSURE = "splice_closure"
    PATCH_PANEL = "patch_panel"
    STUB = "stub"


class Termination(StrEnum):
    """How a cable's fibre gets its connector."""

    PIGTAIL = "pigtail"
    SPLICE_ON_CONNECTOR = "splice_on_connector"
    FACTORY_CORD = "factory_cord"


class FibreAction(StrEnum):
    """What the splice plan says happens to a fibre at a site."""

    SPLICED = "spliced"
    UNCUT = "uncut"
    STORED = "stored"
    TERMINATED = "terminated"


class Splicing(StrEnum):
    """Whether fibres are fused one by one, or those of a ribbon at once."""

    SINGLE = "single"
    RIBBON = "ribbon"


class JointKind(StrEnum):
    """A fusion splice, or a mated pair of connectors."""

    SPLICE = "splice"
    PAIR = "pair"
