"""Benches by number and name: added, renamed, shut, their batches and the profiles that were handed to them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, insert, select, update

from service.errors import NotFound, WrongStatement
from service.log.models import batch_benches, bench_profiles, benches, now
from stripread.words import _

LONGEST_NAME = 60


@dataclass(frozen=True)
class Bench:
    """A bench, how many batches it has, and the names of the profiles that it may read with."""

    id: int
    name: str
    made_at: str
    revoked_at: str | None
    batches: int
    profiles: tuple[str, ...]


def add_bench(c: Connection, name: str, profiles: Iterable[str]) -> Bench:
    """Name a new bench, and hand it these profiles.

    Raises
    ------
    WrongStatement
        If the name is no name, or another bench has it.
    """
    words = _checked(c, name)
    number = int(c.execute(insert(benches).values(name=words, made_at=now()).returning(benches.c.id)).scalar_one())
    hand_out(c, number, profiles)
    return known_bench(c, number)


def all_benches(c: Connection) -> list[Bench]:
    """Every bench, also those that were shut."""
    counted = select(batch_benches.c.bench_id, func.count().label("n")).group_by(batch_benches.c.bench_id)
    many = {row.bench_id: row.n for row in c.execute(counted)}
    handed: dict[int, list[str]] = {}
    for row in c.execute(select(bench_profiles).order_by(bench_profiles.c.bench_id, bench_profiles.c.name)):
        handed.setdefault(row.bench_id, []).append(row.name)
    return [
        Bench(row.id, row.name, row.made_at, row.revoked_at, many.get(row.id, 0), tuple(handed.get(row.id, ())))
        for row in c.execute(select(benches).order_by(benches.c.id))
    ]


def known_bench(c: Connection, number: int) -> Bench:
    """A bench that must be there.

    Raises
    ------
    NotFound
        If it is not.
    """
    found = next((bench for bench in all_benches(c) if bench.id == number), None)
    if found is None:
        raise NotFound("no_such_bench", _("There is no bench {number}.", number=number))
    return found


def working_bench(c: Connection, number: int) -> Bench:
    """A bench that must be there and was not shut.

    Raises
    ------
    NotFound
        If it is not, or was.
    """
    found = known_bench(c, number)
    if found.revoked_at is not None:
        raise NotFound("bench_revoked", _("The bench {name} was revoked. Add another one.", name=found.name))
    return found


def bench_named(c: Connection, said: str) -> Bench:
    """The bench of this name, else of this number; of those of one name the one that was not shut.

    Raises
    ------
    NotFound
        If there is none.
    """
    every = all_benches(c)
    named = [bench for bench in every if bench.name.casefold() == said.strip().casefold()]
    found = sorted(named, key=lambda bench: bench.revoked_at is None) or [b for b in every if str(b.id) == said.strip()]
    if not found:
        known = ", ".join(bench.name for bench in every) or _("none")
        raise NotFound("no_such_bench", _("There is no bench {name}. There are: {known}.", name=said, known=known))
    return found[-1]


def name_of(c: Connection, number: int) -> str:
    """What a bench is called."""
    return str(c.execute(select(benches.c.name).where(benches.c.id == number)).scalar_one())


def rename_bench(c: Connection, number: int, name: str) -> None:
    """Call a bench otherwise.

    Raises
    ------
    NotFound
        If there is no such bench.
    WrongStatement
        If the name is no name, or another bench has it.
    """
    known_bench(c, number)
    c.execute(update(benches).where(benches.c.id == number).values(name=_checked(c, name, number)))


def revoke_bench(c: Connection, number: int) -> bool:
    """Shut a bench: its tokens, links and phones end at once; its batches stay. False if that was done before."""
    known_bench(c, number)
    mine = update(benches).where(benches.c.id == number, benches.c.revoked_at.is_(None))
    return c.execute(mine.values(revoked_at=now())).rowcount > 0


def hand_out(c: Connection, number: int, profiles: Iterable[str]) -> None:
    """Let a bench read with the profiles of these names, and no others.

    Raises
    ------
    NotFound
        If there is no such bench.
    """
    known_bench(c, number)
    c.execute(delete(bench_profiles).where(bench_profiles.c.bench_id == number))
    rows = [{"bench_id": number, "name": name} for name in sorted(set(profiles))]
    if rows:
        c.execute(insert(bench_profiles), rows)


def handed_to(c: Connection, number: int) -> frozenset[str]:
    """Names of the profiles that a bench may read with."""
    return frozenset(c.execute(select(bench_profiles.c.name).where(bench_profiles.c.bench_id == number)).scalars())


def _checked(c: Connection, name: str, own: int | None = None) -> str:
    words = " ".join(name.split())
    if not words or len(words) > LONGEST_NAME or not words.isprintable() or words.isdigit():
        raise WrongStatement(
            "bad_name",
            _(
                "A bench's name has 1 to {most} characters that can be printed, and is no mere number.",
                most=LONGEST_NAME,
            ),
        )
    there = [bench for bench in all_benches(c) if bench.revoked_at is None and bench.id != own]
    if any(bench.name.casefold() == words.casefold() for bench in there):
        raise WrongStatement("name_taken", _("There is a bench {name} already. Choose another name.", name=words))
    return words
