"""From a traced photo to the looks that a joint reading is made of."""

from __future__ import annotations

from stripread.combined import Seen
from stripread.look import Look, look_at
from stripread.pipeline import Trace


def seen_in(trace: Trace) -> Seen:
    """The photo's reading with a look at each strip that has a value."""
    assert trace.reading is not None
    looks: list[Look] = []
    stamp = trace.reading.stamp
    strips = [(trace.estimate, trace.pads, trace.pad_samples)]
    strips += [(further.estimate, further.pads, further.samples) for further in trace.further]
    for estimate, pads, samples in strips:
        if estimate is not None and pads is not None and samples is not None and trace.fix is not None:
            looks.append(look_at(stamp.photo, stamp.sha256, pads, samples, trace.fix))
    return Seen(trace.reading, tuple(looks))
