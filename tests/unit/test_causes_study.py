"""The study of causes must count right, and switch off what it says."""

from dataclasses import replace

import numpy as np

from tests.accuracy import scene_of
from tests.causes_study import CAUSES, Row, processed, told
from tests.scenes.phone import phone
from tests.scenes.processing import NONE


def rows_of(error):
    return [Row("four", "judging", 1, n, c.name, 7.0, 7.0 + error(c.name, n)) for c in CAUSES for n in range(40)]


def test_a_cause_s_share_is_what_the_squared_error_loses():
    """Errors of 0.1 of which a cause makes three quarters of the square: without it they are 0.05."""
    text = told(rows_of(lambda name, n: (-1) ** n * (0.05 if name == "local tone mapping" else 0.1)))
    assert "| local tone mapping | 0.050 | 0.050 | 75% |" in text
    assert "| nothing | 0.100 | 0.100 | 0% |" in text


def test_a_photo_refused_without_some_cause_counts_nowhere():
    text = told(rows_of(lambda name, n: np.nan if (name, n) == ("a greasy lens", 3) else 5.0 if n == 3 else 0.1))
    assert "four (39 photos)" in text
    assert "| nothing | 0.100 |" in text


def test_what_is_switched_off_is_gone_and_nothing_else():
    scene = scene_of("four", 980, 0, world="judging")
    whole = phone(scene.phone_seed, "judging").processing
    assert whole != NONE
    for cause in CAUSES:
        with processed(cause.left):
            left = phone(scene.phone_seed, "judging").processing
        assert (left == whole) == (cause.left(whole) == whole)
        changed = cause.scene(scene, 980)
        assert replace(changed, phone_seed=0).printer_seed == scene.printer_seed
        assert changed.ph == scene.ph
    assert phone(scene.phone_seed, "judging").processing == whole
    assert CAUSES[1].scene(scene, 980).phone_seed == 980
