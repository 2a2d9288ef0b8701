"""The examples of `openapi_examples/`, shown with their operations; tests post each of them."""

from functools import cache
from pathlib import Path
from typing import Any

import orjson

FOLDER = Path(__file__).parents[2] / "openapi_examples"


@cache
def read_examples() -> dict[str, dict[str, Any]]:
    """Return the examples by operation and case; none where the folder is not beside the code."""
    return {
        folder.name: {path.stem: orjson.loads(path.read_bytes()) for path in sorted(folder.glob("*.json"))}
        for folder in sorted(FOLDER.glob("*"))
        if folder.is_dir() and folder.name not in {"demo", "__pycache__"}
    }


def add_examples(document: dict[str, Any]) -> None:
    """Show each example with the operation that its folder is named after."""
    examples = read_examples()
    for operations in document["paths"].values():
        for operation in operations.values():
            for case, example in examples.get(operation["operationId"], {}).items():
                _show(operation, case, example)


def _show(operation: dict[str, Any], case: str, example: dict[str, Any]) -> None:
    if "body" in example:
        _add(operation["requestBody"], case, example, value=example["body"])
    if "answer" in example:
        responses = operation["responses"]
        _add(responses.get(str(example["status"]), responses["default"]), case, example, value=example["answer"])


def _add(place: dict[str, Any], case: str, example: dict[str, Any], *, value: Any) -> None:
    for media in place["content"].values():
        media.setdefault("examples", {})[case] = {"summary": example["summary"], "value": value}
