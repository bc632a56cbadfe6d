"""JSON as this program writes it, on one line or indented: never NaN or Infinity, which are no JSON (RFC 8259)."""

from __future__ import annotations

import json
import math
from typing import Any


def json_line(value: Any, *, indent: int | None = None) -> str:  # noqa: ANN401 - whatever JSON can hold
    """The JSON text of a value. NaN, which stands for "not known", becomes null.

    Raises
    ------
    ValueError
        For an infinite number: no measurement is, so it is a fault before this.
    """
    return json.dumps(_known(value), indent=indent, allow_nan=False)


def _known(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, float):
        return None if math.isnan(value) else value
    if isinstance(value, dict):
        return {key: _known(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_known(item) for item in value]
    return value
