"""From one phone photo to a measurement: find the card, correct the light, infer, or refuse.

The public face: ``read_ph``, ``read_tint``, ``read_solid``, ``combine``, ``load_profile``, ``card_layout``,
``judge_card``, ``describe_strip``, what they return, and ``CallError``. Importing it loads nothing; each name loads
what it needs when it is first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from stripread.version import __version__

if TYPE_CHECKING:
    from stripread.card.layout import CardLayout
    from stripread.describe.result import StripDescription
    from stripread.errors import CallError
    from stripread.library import (
        card_layout,
        combine,
        describe_strip,
        judge_card,
        load_profile,
        read_ph,
        read_solid,
        read_tint,
    )
    from stripread.ph.combined_reading import CombinedReading
    from stripread.ph.profile import Profile
    from stripread.printed.result import CardJudgement
    from stripread.reasons import Reason
    from stripread.results import PhReading, SolidReading, TintReading

__all__ = [
    "CallError",
    "CardJudgement",
    "CardLayout",
    "CombinedReading",
    "PhReading",
    "Profile",
    "Reason",
    "SolidReading",
    "StripDescription",
    "TintReading",
    "__version__",
    "card_layout",
    "combine",
    "describe_strip",
    "judge_card",
    "load_profile",
    "read_ph",
    "read_solid",
    "read_tint",
]

_HOME = {
    "CallError": "stripread.errors",
    "CardJudgement": "stripread.printed.result",
    "CardLayout": "stripread.card.layout",
    "CombinedReading": "stripread.ph.combined_reading",
    "PhReading": "stripread.results",
    "Profile": "stripread.ph.profile",
    "Reason": "stripread.reasons",
    "SolidReading": "stripread.results",
    "StripDescription": "stripread.describe.result",
    "TintReading": "stripread.results",
    **dict.fromkeys(
        (
            "card_layout",
            "combine",
            "describe_strip",
            "judge_card",
            "load_profile",
            "read_ph",
            "read_solid",
            "read_tint",
        ),
        "stripread.library",
    ),
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - functions and classes, typed above
    if name not in _HOME:
        raise AttributeError(f"module 'stripread' has no attribute {name!r}")
    thing = getattr(importlib.import_module(_HOME[name]), name)
    globals()[name] = thing  # so that it is asked only once
    return thing


def __dir__() -> list[str]:
    return sorted(__all__)
