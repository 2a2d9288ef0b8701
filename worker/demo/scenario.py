"""The demo's files, and the field client that its crew uses: both are the documentation that users read."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import orjson

from worker.demo import DemoNotPossibleError

_EXAMPLES = Path(__file__).parents[2] / "openapi_examples"


def read_scenario(name: str) -> Any:
    """Return a file of the demo route."""
    path = _EXAMPLES / "demo" / f"{name}.json"
    if not path.exists():
        raise DemoNotPossibleError(f"{path} is missing: run the demo from a checkout of the project.")
    return orjson.loads(path.read_bytes())


def load_field_client() -> ModuleType:
    """Return the field client's module; it stands outside the packages because field apps copy it."""
    name = "field_client"
    specification = importlib.util.spec_from_file_location(name, _EXAMPLES / f"{name}.py")
    assert specification is not None and specification.loader is not None
    module = importlib.util.module_from_spec(specification)
    sys.modules[name] = module
    specification.loader.exec_module(module)
    return module
