"""What a batch is rinsed with, in words: the codes of its details as people read them."""

from __future__ import annotations

from stripread.words import N_

WATER = {
    "unknown": N_("unknown"),
    "pure": N_("pure"),
    "air": N_("pure, stood in air"),
    "tap": N_("tap water"),
}
