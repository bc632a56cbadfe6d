"""Lists in pages: where the next page is, as a header of the answer (RFC 8288), so that the answer stays a list."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

LISTED: dict[int | str, dict[str, Any]] = {
    200: {
        "headers": {
            "Link": {
                "description": 'Where there is more: `<address of the next page>; rel="next"`.',
                "schema": {"type": "string"},
                "required": False,
            }
        }
    }
}


def next_link(path: str, **asked: object) -> str:
    """The header's value: this path with what is asked of it."""
    return f'<{path}?{urlencode(asked)}>; rel="next"'
