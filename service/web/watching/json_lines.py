"""The program's log as JSON lines on standard error: one object a happening, for whatever gathers logs.

The fields are ``time`` (ISO 8601, UTC), ``level``, ``logger``, ``message``, of an error ``exc_info``, and of a request
its method, route, status and seconds: neither who sent it nor what.
"""

from __future__ import annotations

import logging
import sys
from datetime import UTC, datetime

from pythonjsonlogger.json import JsonFormatter


class _Formatter(JsonFormatter):
    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:  # noqa: N802
        return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


def formatter() -> logging.Formatter:
    """One line a record."""
    return _Formatter(
        "{asctime}{levelname}{name}{message}",
        style="{",
        rename_fields={"asctime": "time", "levelname": "level", "name": "logger"},
    )


def log_json_lines() -> None:
    """From now on whatever is logged goes to standard error as JSON lines; requests, too."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(formatter())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    for name in ("stripread", "uvicorn"):
        logging.getLogger(name).setLevel(logging.INFO)
    logging.captureWarnings(True)
