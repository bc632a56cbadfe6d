"""Dangerous pairs are stopped before they are poured; right pourings are not: a table of worked situations."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from service.bench.vessel.contents import Poured, contents_of
from service.bench.vessel.hazards import READ_ALKALINE, RULES, all_stops, rise_k, stops, stops_within
from service.bench.vessel.substances import UnknownContents

P = Poured
ACID = P("first washes", 3.0, ph=1.0)
SILVER_ACID = P("washes", 5.0, ph=1.0, metals=("silver", "copper"))
SILVER_AMMONIA = P("washes with the test vials", 5.0, ph=1.0, metals=("silver",), ammonia=True)
LYE = P("spent lye", 1.0, ph=13.0)


@dataclass(frozen=True)
class Case:
    """Held, poured to it, the dangers' codes (none: it may be poured), why, source."""

    held: list[Poured]
    incoming: Poured
    codes: tuple[str, ...]
    why: str
    source: str = "service/bench/data/hazards.toml"


CASES = [
    Case([SILVER_AMMONIA], LYE, ("silver_ammonia",), "alkali over silver with ammonia"),
    Case([SILVER_AMMONIA], P("soda", 1, contents=("baking soda",), ph=8.3), ("silver_ammonia",), "weak alkali too"),
    Case([SILVER_AMMONIA], P("rinse", 1, ph=2.0), (), "more acid is the remedy"),
    Case([SILVER_AMMONIA], P("sugar water", 1, ph=6.0), ("silver_ammonia",), "sugar does what alkali does"),
    Case([P("washes", 5, ph=9.0, metals=("silver",))], P("ammonia test vials", 0.05, ph=10), ("silver_ammonia",),
         "vials into a lye vessel"),
    Case([P("washes", 5, ph=9.0, metals=("silver",))], P("vials", 0.05, ammonia=True, contents=("silver",)),
         ("silver_ammonia",), "nobody read the vials: they may be alkaline"),
    Case([SILVER_ACID], P("ammonia test vials", 0.05, ph=2.0), (), "acidified vials into acid are right"),
    Case([SILVER_ACID], P("ammonia test vials", 0.05, ph=10.0), (), "much more acid than the drops hold ammonia"),
    Case([SILVER_ACID], P("household ammonia", 5.0, ph=11.5), ("silver_ammonia",), "more ammonia than acid"),
    Case([P("w", 5, ph=1, metals=("copper",))], P("ammonia", 0.05, ph=10), (), "no silver in it"),
    Case([ACID], P("floor cleaner", 1, contents=("bleach",)), ("bleach_acid",), "chlorine"),
    Case([P("bleach", 1)], P("muriatic acid", 0.2), ("bleach_acid",), "chlorine, the other way round"),
    Case([P("bleach", 1)], P("vials", 0.1, ph=10, ammonia=True), ("bleach_ammonia",), "chloramine"),
    Case([P("spent lye", 3, ph=12.5)], P("bleach", 1), (), "bleach is alkaline itself"),
    Case([P("x", 2, ph=3, contents=("nitrate",))], P("syrup", 1, ph=6), ("nitrate_organic",), "nitrate with sugar"),
    Case([P("spent liquor", 2, ph=12, contents=("glucose",))], P("nitric acid", 0.5, ph=2), ("nitrate_organic",),
         "the other way round"),
    Case([P("x", 2, ph=2, contents=("nitric acid",))], P("zinc dust", 0.1, ph=7), ("nitrate_powder", "acid_powder"),
         "brown fumes and hydrogen"),
    Case([P("x", 2, ph=2, contents=("nitric acid",))], P("copper powder", 0.1, ph=7), ("nitrate_powder",), "fumes"),
    Case([ACID], P("steel wool in water", 0.5, ph=7), ("acid_powder",), "hydrogen"),
    Case([P("spent lye", 3, ph=13)], P("foil", 0.1, ph=7, contents=("aluminium foil",)), ("lye_powder",), "hydrogen"),
    Case([P("spent lye", 3, ph=13)], P("steel wool", 0.1, ph=7), (), "iron gives no hydrogen in lye",
         "from memory, not looked up"),
    Case([ACID], P("bath", 1, ph=12, contents=("cyanide",)), ("cyanide_acid",), "hydrogen cyanide"),
    Case([P("bath", 1, ph=12, contents=("cyanide",))], P("rinse", 1, ph=4), ("cyanide_acid",), "hydrogen cyanide"),
    Case([P("bath", 1, ph=12, contents=("cyanide",))], P("lye", 1, ph=13), (), "lye keeps it in"),
    Case([ACID], P("liver of sulfur", 0.5), ("sulfide_acid",), "hydrogen sulfide"),
    Case([ACID], P("used fixer", 1, ph=7, contents=("fixer",)), ("sulfite_acid",), "sulfur dioxide"),
    Case([SILVER_ACID], P("peroxide", 1, ph=5), ("peroxide",), "oxygen over silver"),
    Case([P("potassium chlorate", 1, ph=7)], P("sugar", 1, ph=7), ("oxidiser_organic",), "fire"),
    Case([P("azide", 1, ph=9)], P("washes", 1, ph=7, metals=("silver",)), ("azide",), "explosive silver azide"),
    Case([P("muriatic acid", 2)], P("caustic soda", 1), ("acid_lye_undiluted",), "both may be as strong as sold"),
    Case([P("lye", 1, mol=-5.0)], P("acid", 1, mol=5.0), ("acid_lye_undiluted",), "5 mol in 2 L: 34 K at once"),
    Case([P("acid", 1, mol=0.5)], P("lye", 1, mol=-0.5), (), "0.5 mol in 2 L: 3 K"),
    Case([ACID], LYE, (), "a tenth of a mol a litre of each"),
    Case([ACID], P("more acid", 1, ph=0.0), (), "acid to acid"),
    Case([ACID], P("washes", 1, ph=2, metals=("zinc", "aluminium", "iron")), (), "dissolved metals give no hydrogen"),
    Case([], P("bath", 1, ph=12, contents=("cyanide",)), (), "alone in its own vessel"),
    Case([ACID], P("vials, no ammonia", 0.1, ph=3), (), "said to be free of it"),
    Case([P("acid", 2, mol=12.0)], P("sugar water", 1, ph=6), ("acid_sugar",), "6 mol/L chars sugar"),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.why)
def test_a_worked_situation(case):
    assert tuple(stop.code for stop in stops(case.held, case.incoming)) == case.codes
    for one in stops(case.held, case.incoming):
        assert one.instead.startswith("Don't pour")
        assert one.source


def test_every_danger_has_a_rule_and_a_case_that_meets_it():
    rules = {code for code, _ in RULES}
    assert rules | {READ_ALKALINE} == set(all_stops())  # that one a reading shows, no pouring
    assert rules == {code for case in CASES for code in case.codes}


@pytest.mark.parametrize(("word", "near"), [("slver", "silver"), ("bleech", "bleach"), ("gubbins", "Name it")])
def test_unknown_words_are_asked_about(word, near):
    for incoming in (P("x", 1, ph=7, metals=(word,)), P("x", 1, ph=7, contents=(word,))):
        with pytest.raises(UnknownContents, match=near):
            stops([ACID], incoming)


def test_the_heat_by_hand():
    # 5 mol, 5.5 at the most, of acid and lye each, 57.6 kJ/mol, in 2 L: 317 kJ / (2000 g x 4.18) = 37.9 K.
    one, other = contents_of([P("acid", 1, mol=5.0)]), contents_of([P("lye", 1, mol=-5.0)])
    assert rise_k(one, other) == pytest.approx(5.5 * 57600 / (2000 * 4.18), rel=1e-6)


def test_a_danger_that_was_poured_all_the_same_is_still_found():
    assert [s.code for s in stops_within([SILVER_AMMONIA, LYE, P("rinse", 3, ph=7)])] == ["silver_ammonia"]
    assert stops_within([ACID, LYE]) == ()


def test_ammonia_counts_as_the_base_that_ph_hides():
    # 0.1 mol/L ammonia: [OH-] = sqrt(1.75e-5 x 0.1) = 1.3e-3, pH 11.1; strong lye of that pH would be 0.0013 mol.
    held = contents_of([P("ammonia", 1.0, ph=11.12, interval=(11.0, 11.2))])
    # By hand: 10^-2.88 = 1.318e-3; 0.1 is that squared over 1.75e-5, to 0.7 %, and 1.3 % more with what is ionised.
    assert -held.base.mol[1] == pytest.approx(0.1, rel=0.02)


def test_strength_may_stand_beside_the_word():
    held = contents_of([P("x", 2.0, ph=3.0, contents=("citrate 0.05 mol/L", "copper"))])
    assert held.strength("citrate")[1] == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("held", "incoming", "code"),
    [
        ("Chlorbleiche", "Salzsäure", "bleach_acid"),
        ("lejía", "ácido muriático", "bleach_acid"),
        ("Chlorreiniger aus dem Keller", "Salmiakgeist", "bleach_ammonia"),
        ("lejia", "amoníaco", "bleach_ammonia"),
        ("Salpeter", "Zucker", "nitrate_organic"),
        ("salitre", "azúcar", "nitrate_organic"),
    ],
)
def test_what_a_bottle_is_called_in_german_and_spanish_stops_it_too(held, incoming, code):
    found = stops([P(held, 1.0)], P(incoming, 0.5))
    assert code in [stop.code for stop in found]
    assert stops([P(held, 1.0)], P("agua del grifo", 0.5, ph=7.0)) == stops([P(held, 1.0)], P("water", 0.5, ph=7.0))


def test_what_is_not_in_it_is_heeded_in_german_and_spanish():
    for text in ("ohne Chlorbleiche", "sin lejía", "keine Chlorbleiche"):
        assert [stop.code for stop in stops([P("Salzsäure", 1.0)], P(text, 0.5, ph=7.0))] == []
