"""The gate of an added metal: open where somebody looked at different moments, and neither grains nor gas were left.

Grey silver hides grey grains, so the eye alone never opens it: fresh acid must make no bubbles either. Common practice,
e.g. http://magma-metale.pl/metale-szlachetne/redukcja-chlorku-srebra-cynkiem/ (no bubbles in acid: no zinc is left).
"""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.gates.verdict import Verdict, apart_running, names
from service.bench.notes import MetalCheck, Note, ReagentUsed
from service.bench.stages.gate_kinds import MetalGone
from stripread.words import _


def judge_metal(gate: MetalGone, notes: Sequence[Note], since: str) -> Verdict:
    """Judge by the looks of this stage since the metal was last added.

    Parameters
    ----------
    notes
        All that count, in the order in which they were written.
    since
        When the stage began (ISO time).
    """
    added = [n.at for n in notes if isinstance(n.content, ReagentUsed) and names(n.content.what, gate.metal)]
    start = max([since, *added])
    looks = [(n.at, n.content) for n in notes if isinstance(n.content, MetalCheck) and n.at >= start]
    if not looks:
        return Verdict("cannot tell", _("Nobody looked yet whether metal is left: {how}.", how=_how(gate)))
    last = looks[-1][1]
    if "yes" in (last.grains, last.bubbles, last.magnet):
        return Verdict("hold", _("Metal is left: more acid, a little at a time, stir, wait until it bubbles no more."))
    if not _clean(last, gate):
        return Verdict("cannot tell", _("The last look does not show that the metal is gone: {how}.", how=_how(gate)))
    clean = apart_running([(at, _clean(look, gate)) for at, look in looks], gate.hours)
    if clean < gate.times:
        text = _(
            "No metal seen {clean} of {times} times: stir, wait {hours:g} h or more, look again with fresh acid.",
            clean=clean,
            times=gate.times,
            hours=gate.hours,
        )
        return Verdict("hold", text)
    text = _(
        "No grains and no bubbles in fresh acid, {times} times, {hours:g} h or more apart.",
        times=gate.times,
        hours=gate.hours,
    )
    return Verdict("open", text)


def _clean(look: MetalCheck, gate: MetalGone) -> bool:
    return look.grains == look.bubbles == "no" and (look.magnet == "no" or (look.magnet is None and not gate.magnet))


def _how(gate: MetalGone) -> str:
    if gate.magnet:
        return _(
            "stir, spread it, look for grains, hold a magnet to the vessel, add fresh dilute acid and watch for bubbles"
        )
    return _("stir, spread it, look for grains, add fresh dilute acid and watch for bubbles")
