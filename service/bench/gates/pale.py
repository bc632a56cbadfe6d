"""The gate of the solid: open where the last picture's pale share lies below the limit with all of its interval."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.gates.verdict import Verdict
from service.bench.readings import LoggedSolid, Observation, look_twice
from service.bench.stages.gate_kinds import PaleBelow
from stripread.words import _


def judge_pale(gate: PaleBelow, observations: Sequence[Observation]) -> Verdict:
    """Judge by the last picture of the solid that has a value.

    ``observations`` of this stage, in the order in which they were taken.
    """
    most = gate.share
    solids = [o.reading for o in observations if isinstance(o.reading, LoggedSolid) and not o.reading.refused]
    if not solids:
        return Verdict("cannot tell", _("No picture of the solid in this stage yet."))
    share, interval = solids[-1].pale_fraction, solids[-1].pale_interval
    if share is None or interval is None or solids[-1].doubtful:
        text = _(
            "The last picture of the solid {says}: stir, wash it once, spread it flat, photograph it again. "
            "Grey silver hides what is pale.",
            says=look_twice(),
        )
        return Verdict("cannot tell", text)
    if interval[1] <= most:
        text = _(
            "At most {interval_1:.1%} is pale (below {most:.1%} wanted); crush clots and look once more.",
            interval_1=interval[1],
            most=most,
        )
        return Verdict("open", text)
    if interval[0] > most:
        return Verdict(
            "hold",
            _(
                "{share:.1%} is still pale (below {most:.1%} wanted): more sugar, more stirring.",
                share=share,
                most=most,
            ),
        )
    text = _(
        "Between {interval_0:.1%} and {interval_1:.1%} is pale: too near {most:.1%}; look again.",
        interval_0=interval[0],
        interval_1=interval[1],
        most=most,
    )
    return Verdict("cannot tell", text)
