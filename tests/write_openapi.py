"""Write the kept documents anew, so that a change of them is seen: what the API serves, and what packages hold."""

from pathlib import Path
from typing import Any

import orjson
from pydantic import SecretStr

from service.api.app import create_app
from service.settings import ServiceSettings
from worker.package.data.attachment_forms import attachment_schemas

_FOLDER = Path(__file__).parents[1] / "openapi_examples"
KEPT, SCHEMAS = _FOLDER / "openapi.json", _FOLDER / "package_schemas.json"


def served_document() -> dict[str, Any]:
    """Return the served document; making it asks no database."""
    url = SecretStr("postgresql+psycopg://nobody@localhost/nothing")
    return create_app(ServiceSettings(database_url=url, blob_dir=Path("nowhere"))).openapi()


def written(document: dict[str, Any]) -> bytes:
    """Return a document as it is kept: sorted and indented."""
    return orjson.dumps(document, option=orjson.OPT_SORT_KEYS | orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)


if __name__ == "__main__":
    KEPT.write_bytes(written(served_document()))
    SCHEMAS.write_bytes(written(dict(attachment_schemas())))
