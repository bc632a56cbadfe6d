"""Every reason's limit: a case just inside it and one just outside, and the status that each must give."""

from itertools import chain

import pytest

from stripread.reasons import REASONS
from tests.reason_cases import card, described, several, solid, strip, tint
from tests.reason_cases.row import reasons_of, status

ROWS = list(chain(card.ROWS, strip.ROWS, several.ROWS, described.ROWS, tint.ROWS, solid.ROWS))


def test_every_reason_has_a_row():
    assert {row.code for row in ROWS} == set(REASONS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.code}: {row.limit}")
def test_the_limit(row):
    beyond = reasons_of(row.outside)
    assert row.code in {r.code for r in beyond}
    assert status(beyond) == row.status
    if row.inside is not None:
        within = reasons_of(row.inside)
        assert row.code not in {r.code for r in within}
        assert status(within) == row.status_inside


@pytest.mark.parametrize("code", REASONS)
def test_one_row_shows_what_the_reason_alone_amounts_to(code):
    """A refusal is one, a doubt doubts, a note leaves the reading ok: in at least one row where no other decides."""
    expected = {"refuse": "refused", "doubt": "doubtful", "note": "ok"}[REASONS[code][0]]
    assert expected in {row.status for row in ROWS if row.code == code}
