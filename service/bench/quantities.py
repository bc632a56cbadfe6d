"""Amounts and ranges as a person types them: the one door for the command line, the page and the API.

A bare number counts in the field's own unit; "2 lb", "500 ml" and "90 min" are turned into it by the units library.
What may mean two things ("1,000 g", "5 gr", "2 oz") is asked back, never guessed; what no bench can hold is refused.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.bench.unit_words import EXAMPLES, QUESTIONS, UNIT_WORDS, words_of
from stripread.errors import CallError
from stripread.words import _, say

LONGEST = 60  # characters
_PARTS = {"%": 100.0, "‰": 1000.0, "": 1.0}
_NUMBER = r"(?:[0-9]+(?:[.,][0-9]+)*|[.,][0-9]+)"
_TYPED = re.compile(rf"([+-]?)({_NUMBER})(e[+-]?[0-9]{{1,3}})?(?![0-9.,]) ?(.*)", re.IGNORECASE)
_RANGE = re.compile(rf"([+-]?{_NUMBER})(?: ?(?:-|\.\.|to) ?([+-]?{_NUMBER}))? ?([%‰]?)")
_RANGE_OF = re.compile(rf".*{_NUMBER}.*?(?:-|\u2013|\.\.|to) ?{_NUMBER}.*", re.IGNORECASE)
_GROUPED = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")


@dataclass(frozen=True)
class Rule:
    """What a field takes: its unit (None: a bare number), its bounds in that unit, and whether 0 says something."""

    unit: str | None
    least: float
    most: float
    zero: bool = True


_MASS = Rule("g", 1e-4, 1e5, zero=False)  # from a tenth of a milligram to 100 kg: more is no small bench
_VOLUME = Rule("l", 1e-6, 1e4, zero=False)
_ANY = Rule(None, -1e12, 1e12)

RULES_OF: dict[str, Rule] = {
    "grams": _MASS,
    "chloride_g": _MASS,
    "metal_g": _MASS,
    "silver_g": _MASS,
    "scale_g": Rule("g", 0.0, 1e4),
    "step_g": Rule("g", 1e-5, 1e4, zero=False),
    "oxide_silver_g": Rule("g", 0.0, 1e5),
    **dict.fromkeys(("powder_g", "crucible_before_g", "crucible_after_g", "in_water_g"), _MASS),
    **dict.fromkeys(("flux_g", "slag_g"), Rule("g", 0.0, 1e5)),
    "acid_ml": Rule("ml", 0.0, 1e5),
    "water_c": Rule("degC", 0.0, 40.0),
    "tare_g": Rule("g", 0.0, 1e5),
    "left_l": Rule("l", 0.0, 1e4),
    "litres": _VOLUME,
    "retained_l": Rule("l", 1e-6, 1e3, zero=False),
    "volume_l": _VOLUME,
    "added_l": _VOLUME,
    "ml": Rule("ml", 1e-3, 1e3, zero=False),
    "added_ml": Rule("ml", 0.0, 1e3),
    "retained_ml": Rule("ml", 1e-3, 1e6, zero=False),
    "settled_h": Rule("hour", 0.0, 1e4),
    "temp_c": Rule("degC", 0.0, 100.0),
    "path_mm": Rule("mm", 0.1, 1000.0, zero=False),
    "measured_mm": Rule("mm", 20.0, 500.0, zero=False),
    "read_after_s": Rule(None, 0.0, 86_400.0),
    "ph": Rule(None, -1.0, 15.0),
    "wash": Rule(None, 0.0, 999.0),
    "drops": Rule(None, 0.0, 2000.0),
    "portions": Rule(None, 1.0, 100.0),
    "pieces": Rule(None, 0.0, 1000.0),
    "percent": Rule(None, 0.1, 100.0, zero=False),
    "density_g_ml": Rule(None, 0.9, 2.0, zero=False),
    "bottle_mol_l": Rule(None, 0.01, 25.0, zero=False),
    "moisture": Rule(None, 0.0, 0.95),
    "acid_mol_l": Rule(None, -12.0, 12.0),
    "chloride_mol_l": Rule(None, 0.0, 12.0),
    "alkalinity_mmol_l": Rule(None, 0.0, 50.0),
    "excess": Rule(None, 1.0, 20.0),
    "dilution": Rule(None, 1.0, 1000.0),
}


class WrongQuantity(CallError, ValueError):  # noqa: N818 - what it is, in the house's words
    """What was typed is no quantity of its field, or may be two; ``choices`` are ways to write what may be meant."""

    def __init__(self, message: str, choices: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.choices = choices

    @property
    def code(self) -> str:
        """Stable short name: ``which_quantity`` for a question, ``bad_quantity`` for a refusal."""
        return "which_quantity" if self.choices else "bad_quantity"

    def at(self, where: str) -> WrongQuantity:
        """The same, naming the field or option."""
        return WrongQuantity(f"{where}: {self}", self.choices)


@lru_cache(maxsize=1)
def registry() -> Any:  # noqa: ANN401 - pint's registry is built at run time
    """The units library's registry, built when first needed: it loads slowly."""
    import pint  # noqa: PLC0415

    return pint.UnitRegistry()


def amount(text: str, unit: str) -> float:
    """A quantity as the user writes it ("2.5 lb", "3 troy oz", "1.5 l"; a bare number counts as ``unit``).

    Returns
    -------
    The number in ``unit``, finite and not below 0.

    Raises
    ------
    WrongQuantity
        If it can't be read, may mean two things, is of another kind than ``unit``, or is negative or not finite.
    """
    value = _value(text, Rule(unit, 0.0, math.inf))
    if value < 0:
        raise WrongQuantity(_("{text} is not an amount: it is below 0", text=_quoted(text)))
    return value


def typed_number(field: str, text: str) -> float:
    """The number of ``field`` in the unit that it is kept in, within the field's bounds.

    Raises
    ------
    WrongQuantity
        If it can't be read, may mean two things, is of another kind than the field, or out of bounds.
    """
    rule = RULES_OF.get(field, _ANY)
    return within(field, _value(text, rule))


def within(field: str, value: float) -> float:
    """``value``, in the field's own unit, if the field takes it.

    Raises
    ------
    WrongQuantity
        Where it is not finite or out of bounds, or nothing where nothing says nothing.
    """
    rule = RULES_OF.get(field, _ANY)
    unit = "" if rule.unit is None else f" {EXAMPLES[rule.unit][0]}"
    if not math.isfinite(value):
        raise WrongQuantity(_("must be a number, not {value}", value=value))
    if value == 0 and not rule.zero:
        raise WrongQuantity(_("must be above 0: if there was none, leave it out"))
    if not rule.least <= value <= rule.most:
        bounds = _("{least:g} and {most:g}{unit}", least=rule.least, most=rule.most, unit=unit)
        raise WrongQuantity(
            _(
                "must lie between {bounds}, not {value:.6g}{unit}: check number and unit",
                bounds=bounds,
                value=value,
                unit=unit,
            )
        )
    return value


def step_typed(text: str) -> float | None:
    """One step of the last digit that was typed, g: "195.20 g" has 0.01; None where a mass can't be read.

    >>> step_typed("195.20"), step_typed("42 g")
    (0.01, 1.0)
    """
    found = _TYPED.fullmatch(text.strip())
    if found is None or found[3]:
        return None
    decimals = len(re.split(r"[.,]", found[2])[-1]) if re.search(r"[.,]", found[2]) else 0
    try:
        return typed_number("step_g", f"{10.0**-decimals:.{decimals}f} {found[4]}")
    except CallError:
        return None


def typed_range(text: str) -> tuple[float, float]:
    """ "0.2-0.4", "20 to 40 %", "925 ‰" or one number as (low, high).

    Raises
    ------
    WrongQuantity
        If it can't be read.
    """
    found = _RANGE.fullmatch(_plain(text))
    if found is None:
        shown = _quoted(text)
        raise WrongQuantity(_("give one number or a range such as 0.2-0.4 or 20-40 %, not {shown}", shown=shown))
    # Shares and pH: nobody means thousands.
    ends = [_decimal(part or found[1], text) / _PARTS[found[3]] for part in (found[1], found[2])]
    return min(ends), max(ends)


def typed_parts(option: str, text: str, fields: tuple[str, ...], least: int, form: str) -> list[float]:
    """The numbers of "0.5:2:1.8:2.2", each by the rule of its field.

    Raises
    ------
    CallError
        Where there are fewer than ``least`` or too many; ``form`` says how it is written.
    WrongQuantity
        As ``typed_number``, naming the option.
    """
    found = text.split(":")
    if not least <= len(found) <= len(fields):
        raise CallError(_("{option}: give {form}, not {text!r}", option=option, form=form, text=text))
    try:
        return [typed_number(field, part) for field, part in zip(fields, found, strict=False)]
    except WrongQuantity as wrong:
        raise wrong.at(_("{option}: give {form}", option=option, form=form)) from None


def _value(text: str, rule: Rule) -> float:
    """The number that was typed, in the rule's unit, bounds not yet looked at."""
    found = _TYPED.fullmatch(_plain(text))
    if found is None:
        kind = (
            _("an amount in {unit}, such as {examples_1}", unit=rule.unit, examples_1=say(EXAMPLES[rule.unit][1]))
            if rule.unit
            else _("a number, such as 1.5")
        )
        raise WrongQuantity(_("must be {kind}, not {text}", kind=kind, text=_quoted(text)))
    sign, digits, power, word = found.groups()
    if _RANGE_OF.fullmatch(f"{digits} {word}") and re.match(r"-|\u2013|\.\.|to ", word):
        raise WrongQuantity(_("give one number, not the range {text}", text=_quoted(text)))
    number = _decimal(digits, text)
    if _GROUPED.fullmatch(digits) and _fits(float(f"{1000.0 * number!r}{power or ''}"), word, rule):
        whole, behind = re.split("[.,]", digits)
        tail = f"{power or ''}{' ' + word if word else ''}"
        ways = (f"{whole}{behind}{tail}", f"{whole}.{behind}0{tail}")
        raise WrongQuantity(
            _(
                "{text} can be read in two ways: write {ways_0} or {ways_1}",
                text=_quoted(text),
                ways_0=ways[0],
                ways_1=ways[1],
            ),
            ways,
        )
    number = float(f"{sign}{number!r}") if not power else float(f"{sign}{digits.replace(',', '.')}{power}")
    if not math.isfinite(number):
        raise WrongQuantity(_("{text} is not an amount: too large", text=_quoted(text)))
    if not word:
        return number
    if rule.unit is None:
        raise WrongQuantity(_("must be a number without a unit, not {text}", text=_quoted(text)))
    return _converted(number, word, rule.unit, text)


def _fits(number: float, word: str, rule: Rule) -> bool:
    """Whether the field could take ``number`` as well: only then is there anything to ask."""
    try:
        value = number if not word or rule.unit is None else _converted(number, word, rule.unit, word)
    except WrongQuantity:
        return True  # the unit itself is asked about or refused: the figure is not taken either way
    return value <= rule.most


def _converted(number: float, word: str, unit: str, text: str) -> float:
    """``number`` of the unit ``word`` in ``unit``, by the units library."""
    said, key = words_of(word)
    question = QUESTIONS.get(said) or QUESTIONS.get(key)
    if question is not None:
        fit = [way for way in question.choices if _measures(way, unit)]
        if not fit:
            raise _other_kind(text, unit)
        ways = tuple(f"{number:.12g} {way}" for way in fit)
        raise WrongQuantity(
            _("{text}: {why}. Write {ways}", text=_quoted(text), why=say(question.why), ways=_(" or ").join(ways)), ways
        )
    if key not in UNIT_WORDS:
        raise WrongQuantity(
            _(
                "{text} is not an amount: no such unit as {word!r}; write for example {examples_1}",
                text=_quoted(text),
                word=word,
                examples_1=say(EXAMPLES[unit][1]),
            )
        )
    if not _measures(word, unit):
        raise _other_kind(text, unit)
    value = float(registry().Quantity(number, UNIT_WORDS[key]).to(unit).magnitude)
    if not math.isfinite(value):
        raise WrongQuantity(_("{text} is not an amount: too large", text=_quoted(text)))
    return round(value, 9) if unit == "degC" else value


def _measures(word: str, unit: str) -> bool:
    """Whether ``word``, a unit that is known, is of the kind that ``unit`` is."""
    return bool(registry().Unit(UNIT_WORDS[words_of(word)[1]]).is_compatible_with(unit))


def _other_kind(text: str, unit: str) -> WrongQuantity:
    _unused, example, kind = EXAMPLES[unit]
    return WrongQuantity(
        _(
            "can't read {text} as an amount in {unit}: give {kind}, such as {example}",
            text=_quoted(text),
            unit=unit,
            kind=say(kind),
            example=say(example),
        )
    )


def _decimal(digits: str, text: str) -> float:
    """A number with at most one decimal point or comma."""
    if len(re.findall("[.,]", digits)) > 1:
        plain = re.sub(r"[.,]", "", digits)
        raise WrongQuantity(
            _("{text}: write thousands without points and commas, such as {plain}", text=_quoted(text), plain=plain)
        )
    return float(digits.replace(",", "."))


def _plain(text: str) -> str:
    """Full-width digits, odd spaces and minus signs as their plain ones; nothing that changes a number's worth."""
    if len(text) > LONGEST:
        raise WrongQuantity(_("is too long for an amount: {text}", text=_quoted(text)))
    text = re.sub("(?<=[cd]m)³", "3", text)
    if any(unicodedata.category(c) == "No" for c in text):  # a raised 2 would become a 2
        raise WrongQuantity(_("write plain digits, not {text}", text=_quoted(text)))
    return " ".join(unicodedata.normalize("NFKC", text).replace("\u2212", "-").split())


def _quoted(text: str) -> str:
    return repr(text if len(text) <= LONGEST else text[:20] + "…")
