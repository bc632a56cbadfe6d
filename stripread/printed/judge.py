"""The path of a photo of a printed card to its verdict, top to bottom."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from stripread.card.find import CardTrace, find_card
from stripread.card.layout import layout
from stripread.card.values import nominal_values
from stripread.correction.fit import fix_colour
from stripread.errors import Refused
from stripread.printed.checks import enough_contrast, even_patches, in_colour, marks_seen, shining, to_scale
from stripread.printed.result import CardJudgement

if TYPE_CHECKING:
    from stripread.photo import Source


def judge_card(data: Source, name: str = "", measured_mm: float | None = None) -> CardJudgement:
    """Judge a printed card from one photo with nothing lying on it.

    Parameters
    ----------
    data, name
        The photo's bytes or pixels (H, W, 3), and what it is called.
    measured_mm
        Length of the sheet's scale bar by a ruler, mm; None where nobody measured it.

    Returns
    -------
    CardJudgement
        Refused, with its reason, where the photo can't be judged.

    Raises
    ------
    CallError
        If the measured length is none that the bar can have.
    """
    start = time.perf_counter()
    scale = to_scale(measured_mm)
    trace = CardTrace()
    card = layout()
    try:
        find_card(data, trace)
        samples, pose = trace.samples, trace.pose
        assert samples is not None
        assert pose is not None
        fix = fix_colour(samples, nominal_values())
    except Refused as refused:
        return CardJudgement(trace.stamp(name, data, time.perf_counter() - start), reasons=(refused.reason,))
    checks = (
        marks_seen(pose, card),
        in_colour(fix, samples, card),
        scale,
        enough_contrast(fix, samples, card),
        even_patches(samples),
        shining(fix, samples, card),
    )
    return CardJudgement(trace.stamp(name, data, time.perf_counter() - start), checks)
