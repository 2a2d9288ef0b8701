"""Events as lines of JSON: to standard error for a part, to its log for whoever looks after it."""

import logging
import sys
from typing import Any, TextIO

import structlog
from structlog.processors import ExceptionRenderer
from structlog.tracebacks import ExceptionDictTransformer


def start_logging() -> None:
    """Log events as JSON lines to standard error, ours and the libraries'."""
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="%(message)s")
    structlog.configure(processors=_processors(), logger_factory=structlog.PrintLoggerFactory(sys.stderr))


def log_into(file: TextIO) -> structlog.typing.FilteringBoundLogger:
    """Return a logger that writes the same lines into a file."""
    logger: structlog.typing.FilteringBoundLogger = structlog.wrap_logger(
        structlog.PrintLogger(file), processors=_processors()
    )
    return logger


def _processors() -> list[Any]:
    return [
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        # Left alone the library writes every local value beside each frame: records, tokens, a key's passphrase.
        ExceptionRenderer(ExceptionDictTransformer(show_locals=False)),
        structlog.processors.JSONRenderer(),
    ]
