"""An order in words, as a foreman says it: where, what, on which fibres, with which tests."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from service.vocabulary.findings.finding import AskedTestDocument, CauseDocument
from service.vocabulary.findings.words import Act
from service.vocabulary.worklist.local_fibres import listed, say_ranges

# Where the brackets are, the fibres are named.
_ORDERS: Mapping[Act, str] = {
    Act.SPLICE: "splice {}",
    Act.TERMINATE: "give {} a connector",
    Act.FIBRES_CROSSED: "find where {} are crossed, and put them right",
    Act.RE_SPLICE: "splice {} again",
    Act.SHRINK_SLEEVE: "shrink the sleeve of {}",
    Act.RE_TERMINATE: "give {} a new connector",
    Act.LOCATE_BREAK: "find the break of {} and splice it",
    Act.RELIEVE_BEND: "relieve the bend of {}, then test again",
    Act.CLEAN_AND_INSPECT: "clean and inspect {}",
    Act.SEAL: "seal",
    Act.TEST: "test {}",
    Act.RETEST: "test {} again",
    Act.POST_RECORD: "post what is not recorded of {}",
    Act.ASK_ENGINEER: "nothing that a crew does helps {}: ask the engineer",
}
_TESTS = {
    "otdr": "OTDR",
    "attenuation": "source and meter",
    "return_loss": "return loss",
    "dispersion": "dispersion",
    "continuity": "continuity",
}


def say_order(
    act: Act,
    sites: Sequence[str],
    fibres: Sequence[tuple[int, int]],
    *,
    opens: bool,
    tests: Sequence[AskedTestDocument],
) -> str:
    """Say an order: "At A and B: test fibres 1 to 24, OTDR at 1310 and 1550 nm from A and B"."""
    where = f"Open {say_sites(sites)}" if opens else f"At {say_sites(sites)}"
    asked = "".join(f", {one}" for one in _say_tests(tests))
    return f"{where}: {_ORDERS[act].format(say_ranges(fibres))}{asked}"


def say_sites(sites: Sequence[str]) -> str:
    """Say sites in a row: "C1", "C1 and C2", "C1 to C22"."""
    return f"{sites[0]} to {sites[-1]}" if len(sites) > 2 else listed(sites)


def say_reason(clause: str, values: Sequence[str]) -> str:
    """Say a reason with its value, or with the least and the greatest of several."""
    different = sorted(set(values), key=float)
    said = different[0] if len(different) == 1 else f"{different[0]} to {different[-1]}" if different else ""
    text = clause.replace("{}", said)
    return f"{text[0].upper()}{text[1:]}."


def say_causes(causes: Iterable[CauseDocument]) -> str:
    """Say why a single item is to be done."""
    clauses = [one["clause"].replace("{}", one.get("value", "")) for one in causes]
    text = "; ".join(dict.fromkeys(clauses))
    return f"{text[0].upper()}{text[1:]}."


def _say_tests(tests: Iterable[AskedTestDocument]) -> Iterator[str]:
    """Say tests, those at the same wavelengths and from the same ends together."""
    alike: dict[tuple[tuple[int, ...], tuple[str, ...]], list[str]] = {}
    for asked in tests:
        key = tuple(asked["wavelengths_nm"]), tuple(asked["from_sites"])
        alike.setdefault(key, []).append(_TESTS[asked["test"]])
    for (wavelengths, from_sites), names in alike.items():
        at = f" at {listed([str(nm) for nm in wavelengths])} nm" if wavelengths else ""
        yield f"{', '.join(names)}{at} from {listed(from_sites)}"
