"""Typed quantities by the thousand against an independent reading: ``python -m tests.fuzz_quantities N [SEED]``.

Counts strings that were read otherwise than the judge reads them, and whatever escapes that is no answer in words.
"""

from __future__ import annotations

import random
import sys
from collections import Counter

from service.bench.quantities import WrongQuantity, typed_number
from tests.properties.quantity_judge import ASK, FIELDS, MASS, REFUSE, TIME, VOLUME, judged

WORDS = [*MASS, *VOLUME, *TIME, "oz", "gr", "ounces", "ML", "Ml", "mL", "Mg", "Kg", "KG", "LB", "fg", "xyz", "e", "%",
         "fl. oz.", "troy_ounce", "gal", "pints", "pt", "qt", "u.s. gal", "imp. pint", "cm", "°C",
         "", "", ""]  # fmt: skip
ODD = ["nan", "inf", "-inf", "Infinity", "", " ", "-", "1-2 g", "1 to 2 g", "1..2", "0x10", "1_000", "½ g", "10² g",
       "\uff11,000 g", "1'000", "1 000 g", "1e999", "9" * 50, "9" * 200, "1e-320 g", "--1", "+-1", "1,", ",", ".5",
       "\x00", "1\u200b2 g", "٣ g", "1 g g", "1e", "1e5", "1.e3", "$5", "a\n1 g", "1 g\n", "=1+1", "1/2 lb", "1:2",
       "~5 g"]  # fmt: skip
SPACES = ["", " ", "\u00a0", "\u202f", "  ", "\t"]


def a_text(chance: random.Random, field: str) -> str:
    """A quantity as a person might type it, or something like one, or nothing like one."""
    kind = chance.random()
    if kind < 0.05:
        return chance.choice(ODD)
    if kind < 0.12:
        return "".join(chance.choice("0123456789.,-+eE gkmlozt%_\u2212\uff11") for _ in range(chance.randint(0, 12)))
    whole = chance.choice(
        ["", "0", str(chance.randint(0, 9)), str(chance.randint(10, 999)), str(chance.randint(0, 10**7))]
    )
    mark = chance.choice(["", "", ".", ",", ".", ","])
    behind = "".join(chance.choice("0123456789") for _ in range(chance.choice([1, 2, 3, 3, 4]))) if mark else ""
    again = f"{chance.choice('.,')}{chance.randint(0, 999):03d}" if chance.random() < 0.05 else ""
    power = (
        f"{chance.choice('eE')}{chance.choice(['', '+', '-'])}{chance.randint(0, 20)}" if chance.random() < 0.1 else ""
    )
    sign = chance.choice(["", "", "", "", "", "", "-", "+", "\u2212"])
    number = f"{sign}{whole}{mark}{behind}{again}{power}"
    if chance.random() < 0.1:
        number = "".join(chr(ord(c) + 0xFEE0) if c in "0123456789" else c for c in number)
    own = list(FIELDS[field][0] or [""])
    word = chance.choice(own if chance.random() < 0.7 else WORDS)
    word = word.upper() if chance.random() < 0.1 else word
    return f"{chance.choice(SPACES)}{number}{chance.choice(SPACES)}{word}{chance.choice(SPACES)}"


def door(field: str, text: str):
    """The door's answer in the judge's words: a number, ASK or REFUSE."""
    try:
        return typed_number(field, text)
    except WrongQuantity as wrong:
        if "\n" in str(wrong):
            raise AssertionError(f"{text!r}: a sentence of two lines") from wrong
        return ASK if wrong.choices else REFUSE


def agree(field: str, text: str) -> bool:
    """Whether the door reads ``text`` as the judge does."""
    mine, other = door(field, text), judged(field, text)
    if isinstance(mine, str) or isinstance(other, str):
        return mine == other
    return abs(mine - float(other)) <= 1e-9 * max(1e-3, abs(float(other)))


def run(count: int, seed: int) -> tuple[Counter, list[tuple[str, str]]]:
    """How many were read, asked back and refused; the (field, text) that the two readings differ on."""
    chance, seen, wrong = random.Random(seed), Counter(), []
    fields = list(FIELDS)
    for _ in range(count):
        field = chance.choice(fields)
        text = a_text(chance, field)
        answer = door(field, text)
        seen[answer if isinstance(answer, str) else "read"] += 1
        if not agree(field, text):
            wrong.append((field, text))
    return seen, wrong


if __name__ == "__main__":
    counts, wrong = run(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print(dict(counts), f"{len(wrong)} read otherwise than the judge")
    for field, text in wrong[:20]:
        print(f"  {field} {text!r}: {door(field, text)}, judge {judged(field, text)}")
    sys.exit(bool(wrong))
