"""The next stage of a batch: its procedure chosen or changed, the gate asked, the move written down."""

from __future__ import annotations

from sqlalchemy import Connection

from service.bench.course import mapped
from service.bench.notes import Note
from service.bench.procedure import Procedure, load_procedure
from service.bench.state import State
from service.errors import StandsAgainst
from service.log.chain.locks import one_of_batch
from service.log.course.state import batch_state
from service.log.notes import Said, add_note
from stripread.errors import CallError
from stripread.words import SOURCE, _, say, speaking


def choose_procedure(c: Connection, batch: int, where: str) -> Note:
    """Give a batch its procedure: a shipped one by name, or a file; its text is kept in the log."""
    return add_note(c, batch, "procedure", {"text": load_procedure(where).text})


def move_on(
    c: Connection,
    batch: int,
    to: str | None,
    reason: str | None,
    who: str | None,
    *,
    written_at: str | None = None,
    keyed: bool = False,
) -> tuple[Note, State]:
    """Go on to the next stage, or to the stage named.

    Raises
    ------
    CallError
        When the gate is not open (or the stage is not the next one) and no reason is given; for a stage unknown.
    """
    one_of_batch(c, batch)
    state = batch_state(c, batch)
    after = state.procedure.after(state.stage.id)
    if to is None and after is None:
        raise CallError(_("this was the last stage"))
    target = state.procedure.stage(to) if to is not None else after
    assert target is not None
    opened = (after, state.procedure.past(state.stage.id)) if state.verdict.state == "open" else ()
    if target not in opened and not (reason or "").strip():
        why = (
            state.verdict.sentence
            if target == after
            else _("{title!r} is not the next stage.", title=say(target.title))
        )
        raise StandsAgainst(
            _(
                "the gate says {state}: {why} To go on against it, give a reason.",
                state=say(state.verdict.state),
                why=why,
            )
        )
    with speaking(SOURCE):  # the log is kept in one language, whoever writes it
        kept = batch_state(c, batch)
    data: dict[str, object] = {
        "to": target.id,
        "state": state.verdict.state,
        "sentence": kept.verdict.sentence,
        "reason": reason,
        "who": who,
    }
    moved = add_note(c, batch, "move", data, Said(written_at=written_at, keyed=keyed))
    return moved, batch_state(c, batch)


class WhichStage(CallError):  # noqa: N818 - a question to the person, not a fault
    """A procedure that has no stage named as the batch's own: somebody has to say in which of its stages it is."""


def change_procedure(  # noqa: PLR0917 - what a change is told
    c: Connection,
    batch: int,
    procedure: Procedure,
    to: str | None,
    reason: str,
    who: str | None,
    *,
    written_at: str | None = None,
    keyed: bool = False,
) -> tuple[Note, State]:
    """Go on by another procedure, in its stage ``to``, else in that of the same name as the batch is in.

    Raises
    ------
    CallError
        Without a reason, for the procedure that it has already, and for a stage unknown. ``WhichStage`` where no stage
        is given and none has the name.
    """
    state = batch_state(c, batch)
    if not reason.strip():
        raise CallError(_("a change of the procedure needs a reason; the log keeps it"))
    if procedure.text.strip() == state.procedure.text.strip():  # the log keeps no blank ends
        raise CallError(_("the batch has this procedure already"))
    target = procedure.stage(to) if to else mapped(procedure, state.stage.id)
    if target is None:
        raise WhichStage(
            _(
                "the batch is in {title!r}, and {procedure!r} has no such stage: say in which it goes on: {stages}",
                title=say(state.stage.title),
                procedure=say(procedure.name),
                stages=", ".join(s.id for s in procedure.stages),
            )
        )
    data: dict[str, object] = {"text": procedure.text, "to": target.id, "reason": reason.strip(), "who": who}
    made = add_note(c, batch, "procedure", data, Said(written_at=written_at, keyed=keyed))
    return made, batch_state(c, batch)
