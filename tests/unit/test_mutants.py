"""Mutants by hand: each changes its one place and nothing else, and what is only text or types stays as it is."""

import ast
import tomllib

from tests.mutants import mutants, sample
from tests.mutate import LIST, ROOT, draw, harmless, row, targets

SOURCE = '''"""Not 1 < 2."""
WIDE = 2.0  # µ before the place


def limit(x: int = 3, *, open: bool = False) -> float:
    if x < WIDE and not open:
        return min(x, f"{x + 1}") - 1
    return None
'''


def changes(kind):
    return [m.change for m in mutants("a.py", SOURCE) if m.kind == kind]


def test_every_logic_mutant_of_a_small_file():
    assert sorted(changes("logic")) == sorted(
        [
            "False → True",
            "if x < WIDE and (not open) → if True",
            "if x < WIDE and (not open) → if False",
            "x < WIDE and (not open) → x < WIDE or not open",
            "x < WIDE → x <= WIDE",
            "x < WIDE → x >= WIDE",
            "not open → open",
            "return min(x, f'{x + 1}') - 1 → return None",
            "min(x, f'{x + 1}') - 1 → min(x, f'{x + 1}') + 1",
            "min(x, f'{x + 1}') → max(x, f'{x + 1}')",
        ]
    )


def test_numbers_change_by_one_or_by_a_factor_but_not_within_texts():
    assert sorted(changes("constant")) == ["1 → 2", "2.0 → 2.6", "3 → 4"]


def test_each_text_differs_in_its_one_line_and_can_be_compiled():
    for mutant in mutants("a.py", SOURCE):
        ast.parse(mutant.text)
        pairs = zip(SOURCE.splitlines(), mutant.text.splitlines(), strict=True)
        assert [n for n, (old, new) in enumerate(pairs, 1) if old != new] == [mutant.number], mutant.change


def test_a_draw_is_the_same_for_a_seed_and_in_the_order_of_the_file():
    every = mutants("a.py", SOURCE)
    drawn = sample(every, 4, 2, seed=1)
    assert drawn == sample(every, 4, 2, seed=1)
    assert [m.kind for m in drawn].count("logic") == 4
    assert [every.index(m) for m in drawn] == sorted(every.index(m) for m in drawn)


def test_two_seeds_draw_what_either_draws():
    target = next(t for t in targets() if t.file.endswith("dye_field.py"))
    one, two, both = (draw(target, 6, seeds) for seeds in ([1], [2], [1, 2]))
    assert {(m.number, m.change) for m in both} == {(m.number, m.change) for m in (*one, *two)}
    assert len(one) == len(two) == 8 < len(both)
    assert row(target, [], 2, [1, 2]).endswith(f"| 0 of 0 | 0 of 0 | 2 | 1, 2 | {target.before} |")


def test_files_and_harmless_faults_of_the_list_are_there():
    assert {t.file for t in targets()} == {t["file"] for t in tomllib.loads(LIST.read_text(encoding="utf-8"))["target"]}
    there = {(t.file, m.line, m.change) for t in targets() for m in mutants(t.file, (ROOT / t.file).read_text("utf-8"))}
    assert set(harmless()) <= there
