"""The test with ammonia: its vials are acidified at once, and until somebody wrote that down they are asked about.

Silver in ammonia turns explosive on standing, within hours (the first row of the table of hazards); nobody is to wait
for that: the hour is a limit on our side, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.notes import AmmoniaTest, Note, VialsAcidified
from service.bench.readings import LoggedTint, Observation
from service.bench.reminding.reminder import Reminder
from service.moments import hours_between, later
from stripread.words import _, _n

WITHIN_H = 1.0  # a test with ammonia is acid again by then; common practice, no source


def vials_to_acidify(notes: Sequence[Note], observations: Sequence[Observation], now: str) -> Reminder | None:
    """The reminder of tests that nobody acidified since; ``notes`` and ``observations`` those that count."""
    done = [n.at for n in notes if isinstance(n.content, VialsAcidified) and n.content.acid_enough]
    since = max(done, default="")
    made = [o.at for o in observations if isinstance(o.reading, LoggedTint)]
    made += [n.at for n in notes if isinstance(n.content, AmmoniaTest)]
    open_ones = sorted(at for at in made if at > since and hours_between(at, now) >= 0.0)
    if not open_ones:
        return None
    first = open_ones[0]
    text = _n(
        "Acidify the vial of the copper test to pH 2 now, and write it down.",
        "Acidify the vials of {n} copper tests to pH 2 now, and write it down.",
        len(open_ones),
    )
    why = _("Silver with ammonia turns explosive on standing: within the hour, never overnight, never dry.")
    late = hours_between(first, now) > WITHIN_H
    if late:
        why = _(
            "The first is over an hour old, and silver with ammonia turns explosive on standing: do not shake it. "
            "Where something has dried, do not touch it, keep people away, ask the fire service. If it was acidified "
            "in time, write that down."
        )
    return Reminder("acidify", "late" if late else "now", later(first, 0.0), f"{text} {why}")
