"""What a log keeps in English, told again."""

import pytest

from stripread.reasons import REASONS, because
from stripread.words import _, speaking
from stripread.words.retold import EMPTY, retold, retold_reading

DETAILS = (
    "",
    _("{n_used} of {n_markers} marks can be seen", n_used=2, n_markers=4),
    _("{misfit:.1f} standard deviations away", misfit=3.25),
    "anything at all (2026)",
)


@pytest.mark.parametrize("language", ["de", "es"])
def test_every_reason_is_told_as_if_it_had_been_made_in_the_language(language):
    """But for a detail that nobody knows, which stays."""
    for code in REASONS:
        for detail in DETAILS:
            if not detail and "{detail}" in REASONS[code][1].replace(EMPTY, ""):
                continue  # never without
            kept = because(code, detail).message
            with speaking(language):
                assert retold(kept) == because(code, retold(detail)).message, code


def test_english_is_left_alone_and_so_is_what_is_not_known():
    assert retold("There is copper in the liquid.") == "There is copper in the liquid."
    with speaking("de"):
        assert retold("There is copper in the liquid.") == "Es ist Kupfer in der Flüssigkeit."
        assert retold("Grandmother's own words.") == "Grandmother's own words."
        assert retold("") == ""


def test_places_within_places_and_numbers():
    kept = "Entry 3 (wash 4) was taken after entry 2 (wash 5): which wash number is wrong? Correct or withdraw one."
    with speaking("de"):
        assert retold(kept).startswith("Eintrag 3 (Waschgang 4) wurde nach Eintrag 2 (Waschgang 5)")
        assert "pH 6,8" in retold("pH 6.8 still differs from the rinse water's 5.6: wash on.")
        assert (
            retold("The sample was at 60 °C, where neutral is pH 6.5.")
            == "Die Probe hatte 60 °C, wo neutral pH 6,5 ist."
        )


def test_several_sentences_in_one():
    with speaking("es"):
        assert retold("There is copper in the liquid. Nothing is claimed of copper.") == (
            "Hay cobre en el líquido. No se afirma nada del cobre."
        )


def test_a_reading_keeps_codes_fields_and_numbers():
    reason = {"code": "blurred", "severity": "refuse", "message": REASONS["blurred"][1]}
    reading = {"ph": 6.82, "decision": "none seen", "claim": "No copper above the limit.", "reasons": [reason]}
    reading["strips"] = [{"ph": 1.5, "reasons": [reason]}]
    with speaking("de"):
        told = retold_reading(reading)
    assert told["claim"] == "Kein Kupfer über der Grenze."
    assert told["strips"][0]["reasons"][0]["message"].startswith("Das Bild ist unscharf.")
    assert (told["ph"], told["decision"], told["reasons"][0]["code"]) == (6.82, "none seen", "blurred")
    assert reading["reasons"][0]["message"] == REASONS["blurred"][1]  # what was kept is left alone
    assert retold_reading(reading) == reading
