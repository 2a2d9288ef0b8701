"""What is attached to a package, as the tests of its pages ask for it."""

from collections.abc import Mapping

from tests.printed.values import Json


class Attached:
    """What one package says of what is submitted."""

    def __init__(self, files: Mapping[str, Json]) -> None:
        self.about, self.found = files["package.json"], files["findings.json"]
        self.design, self.criteria = files["design.json"], files["criteria.json"]
        self.entries = files["records.json"]["records"]
        self.records = {entry["record"]["id"]: entry["record"] for entry in self.entries}
        others = [entry["record"] for entry in self.entries if entry.get("is_of_other_route")]
        self.spliced_elsewhere = {one["id"] for one in others if one["kind"] == "splice"}
        self.dark = set(self.found["verdict"].get("tolerated_dark", []))
        self.submitted = set(self.about["segments"])
        every = [
            *self.found["verdict"]["findings"],
            *(one for fibre in self.found["fibres"] for one in fibre["findings"]),
        ]
        self.findings = [f for f in every if f.get("fibre") not in self.dark and self.submitted & {*f["segments"]}]
        # Of all fibres that are submitted, also those left dark.
        self.scope = {n for s in self.chosen_segments() for r in s["fibres"] for n in range(r["first"], r["last"] + 1)}

    def chosen_segments(self) -> list[Json]:
        return [one for id_ in self.about["segments"] for one in self.design["segments"] if one["id"] == id_]

    def action(self, site: str, fibre: int) -> str:
        for one in self.design["splice_plan"]:
            if one["site"] == site and one["fibres"]["first"] <= fibre <= one["fibres"]["last"]:
                return str(one["action"])
        [kind] = [one["kind"] for one in self.design["sites"] if one["id"] == site]
        return "spliced" if kind == "splice_closure" else "terminated"
