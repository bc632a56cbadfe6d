"""Unused strips drawn on a card laid flat, and what is measured of them."""

from stripread.describe.read import SeenStrip, measured
from stripread.kind import StripKind
from tests.unit.strip.lane_pictures import Drawn, DrawnView, draw


def view_of(kind: StripKind, pads, *, end=(32.0, 37.0), angle=0.0, carrier=(0.8, 0.82, 0.78), **how) -> DrawnView:
    """A strip of this kind with these colours of pads, its dipped end there."""
    view = draw(kind, [Drawn(end, angle, pads, carrier)], **{"edge_shade": 0.1, "noise": 0.006, **how})
    view.edge_mm = 0.5  # of the blur that is drawn: 10-90 % is 2.563 deviations
    return view


def seen(kind: StripKind, pads, **how) -> SeenStrip:
    return measured(view_of(kind, pads, **how))
