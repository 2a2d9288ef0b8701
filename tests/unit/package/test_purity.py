"""Drawing depends on what it is given and on nothing that a server, a database or a clock could say."""

import subprocess
import sys

# What a database, a queue, a network client or the signer would bring along.
_FOREIGN = (
    "sqlalchemy",
    "sqlmodel",
    "psycopg",
    "celery",
    "redis",
    "fastapi",
    "httpx",
    "aiohttp",
    "pyhanko",
    "structlog",
)


def test_a_fresh_interpreter_that_draws_has_loaded_no_server_and_no_signer() -> None:
    code = (
        "import sys; from worker.package.pages.drawing import draw; from worker.package.view import build_view; "
        "from worker.package.data.attachments import attachments; "
        f"print(sorted(set({_FOREIGN!r}) & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
