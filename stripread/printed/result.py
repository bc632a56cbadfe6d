"""What is said of a printed card: one check after another with what to do, and a verdict in a word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from stripread.results import Shown, Stamp, Status, reasons_json, status_of
from stripread.words import N_, say

if TYPE_CHECKING:
    from stripread.reasons import Reason

State = Literal["right", "look", "wrong", "unknown"]
Verdict = Literal["ok", "look_twice", "print_again"]

VERDICTS: dict[Verdict, str] = {
    "ok": N_("This print is good. Write today's date on the card and keep it with you."),
    "look_twice": N_("Look twice before you work with this print."),
    "print_again": N_("Print the card again before you work with it."),
}


@dataclass(frozen=True)
class Check:
    """One thing that was looked at: its name, how it stands, and in words what was seen and what to do."""

    name: Literal["marks", "colour", "scale", "contrast", "even", "shine"]
    state: State
    message: str

    def to_dict(self) -> dict[str, str]:
        """The check as its JSON object."""
        return {"check": self.name, "state": self.state, "message": self.message}


@dataclass(frozen=True)
class CardJudgement(Shown):
    """A printed card judged. There are no checks and no verdict where the photo was refused."""

    stamp: Stamp
    checks: tuple[Check, ...] = ()
    reasons: tuple[Reason, ...] = ()

    @property
    def status(self) -> Status:
        """Whether the photo could be judged; not whether the print is good."""
        return status_of(self.reasons)

    @property
    def verdict(self) -> Verdict | None:
        """What the checks amount to: the worst of them. What could not be looked at counts for nothing."""
        if not self.checks:
            return None
        states = {check.state for check in self.checks}
        return "print_again" if "wrong" in states else "look_twice" if "look" in states else "ok"

    def __repr__(self) -> str:
        return f"<CardJudgement {self.verdict or self.reasons[0].code}>"

    def to_dict(self) -> dict[str, Any]:
        """The judgement as its JSON object."""
        verdict = self.verdict
        return {
            "photo": self.stamp.photo,
            "kind": "card",
            "status": self.status,
            "verdict": verdict,
            "message": self.reasons[0].message if verdict is None else say(VERDICTS[verdict]),
            "checks": [check.to_dict() for check in self.checks],
            "reasons": reasons_json(self.reasons),
            "sha256": self.stamp.sha256,
            "taken_at": self.stamp.taken_at,
            "software": self.stamp.software,
            "seconds": round(self.stamp.seconds, 3),
        }
