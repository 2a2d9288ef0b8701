"""Write the demo's files: `python -m tests.simulator.write_demo`."""

import json
from pathlib import Path
from typing import Any

from tests.simulator.contract import demo_criteria, demo_people, demo_project
from tests.simulator.route import demo_design
from tests.simulator.story import demo_batches

DEMO_FOLDER = Path(__file__).parents[2] / "openapi_examples" / "demo"


def demo_files() -> dict[str, str]:
    """Return the text of each file by its name."""
    documents: dict[str, Any] = {
        "project.json": demo_project(),
        "people.json": demo_people(),
        "criteria.json": demo_criteria(),
        "route.json": demo_design(),
    }
    texts = {name: json.dumps(document, indent=2, sort_keys=True) + "\n" for name, document in documents.items()}
    return texts | {f"{name}.json": _one_record_a_line(records) for name, records in demo_batches().items()}


def main() -> None:
    """Write every file."""
    DEMO_FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in demo_files().items():
        (DEMO_FOLDER / name).write_text(text)


def _one_record_a_line(records: list[dict[str, Any]]) -> str:
    lines = ",\n".join(json.dumps(record, sort_keys=True) for record in records)
    return f'{{"records": [\n{lines}\n]}}\n'


if __name__ == "__main__":
    main()
