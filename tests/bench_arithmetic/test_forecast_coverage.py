"""The forecast on simulated batches, in small: the study's own promises with room for 120 batches' luck."""

from __future__ import annotations

import pytest

from tests.forecast_study import study


@pytest.mark.slow
@pytest.mark.thorough
def test_intervals_cover_and_the_forecast_beats_the_textbook():
    found = study(120, seed=4)["three readings or more"]
    # Of 120 forecasts at 90 %, fewer than 0.82 in one of 260 seeds and more than 0.98 in one of 3,000.
    assert 0.82 <= found["90 % interval covers"] <= 0.98
    assert found["median |error|"] <= 1.0
    assert found["median |error|"] < found["textbook median |error|"]
    assert found["off by more than 2 washes"] < found["textbook off by more than 2"]
