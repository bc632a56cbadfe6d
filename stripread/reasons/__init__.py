"""Every reason a reading may carry: code, severity and the sentence that says what to do.

Defined once, here; the JSON, the page, the overlay and the docs all take them from ``REASONS``.
``refuse`` leaves no value; ``doubt`` leaves a value and makes the reading doubtful; ``note`` informs and leaves the
status alone (cautions, limits of what a test proves).
"""

from stripread.reasons.reason import Bound, Reason, Severity
from stripread.reasons.registered import REASONS, because

__all__ = ["REASONS", "Bound", "Reason", "Severity", "because"]
