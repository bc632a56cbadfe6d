"""A handful of random sessions; `python -m tests.sessions_study` runs as many as one likes."""

import pytest

from tests.sessions_study import run_sessions

OPENS_OFFLINE = True  # its tests open the page without a connection
pytestmark = [pytest.mark.slow, pytest.mark.thorough]  # a real browser


def test_nothing_is_lost_doubled_or_made_up(browser):
    tally = run_sessions(2, 1000, steps=10, browser=browser)
    assert tally.faults == []
    assert tally.entered.total() >= 5
