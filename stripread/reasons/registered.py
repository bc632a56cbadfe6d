"""All reasons by code, and one of them with its detail filled in."""

from __future__ import annotations

from stripread.reasons import of_circumstances, of_photos, of_solids, of_strips, of_tints
from stripread.reasons.reason import Bound, Reason, Severity
from stripread.words import say

REASONS: dict[str, tuple[Severity, str]] = {
    **of_photos.TABLE,
    **of_strips.TABLE,
    **of_circumstances.TABLE,
    **of_tints.TABLE,
    **of_solids.TABLE,
}


def because(
    code: str, detail: str = "", *, bound: Bound | None = None, value: float | None = None, unit: str = ""
) -> Reason:
    """Make the registered reason ``code`` with ``detail`` filled in; the figures are ``Reason``'s fields.

    Raises
    ------
    KeyError
        If the code is not registered.
    """
    severity, text = REASONS[code]
    text = say(text)
    if not detail:
        text = text.replace(" ({detail})", "").replace("{detail}", "")
    return Reason(code, severity, text.replace("{detail}", detail), bound, value, unit)
