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
        if folder.is_dir() and folder.name != "demo"
    }


def add_examples(document: dict[str, Any]) -> None:
    """Show each example with the operation that its folder is named after."""
    examples = read_examples()
    for operations in document["paths"].values():
        for operation in operations.values():
            for case, example in examples.get(operation["operationId"], {}).items():
                _show(operation, case, example)


def _show(operation: dict[str, Any], case: str, example: dict[str, Any]) -> None:
    if "body" in example and "requestBody" in operation:
        content = operation["requestBody"]["content"]["application/json"]
        content.setdefault("examples", {})[case] = {"summary": example["summary"], "value": example["body"]}
    answer = operation["responses"].get(str(example["status"]), operation["responses"]["default"])
    for media in answer.get("content", {}).values():
        if "answer" in example:
            media.setdefault("examples", {})[case] = {"summary": example["summary"], "value": example["answer"]}
