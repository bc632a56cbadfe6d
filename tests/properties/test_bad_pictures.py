"""Any bytes at all are opened as a photo or refused with a reason, within bounds, and never end in a traceback."""

import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stripread.card.layout import layout
from stripread.card.markers import find_markers
from stripread.card.pose import solve_pose
from stripread.card.view import card_view, check_sharp
from stripread.errors import Refused
from stripread.photo import open_photo
from tests.fuzz_pictures import DAMAGES, PICTURES, damaged, main, specimens

SLOWEST_S = 5.0  # a hang, not a speed: other work may share the machine
SETTINGS = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


def outcome(data: bytes) -> str:
    """Walk the path from bytes to the flat card: 'card', or the code of the refusal."""
    started, reason = time.perf_counter(), None
    try:
        photo = open_photo(data)
        assert photo.pixels.ndim == 3
        assert photo.pixels.shape[2] == 3
        assert max(photo.pixels.shape) <= 3050
        view = card_view(photo, solve_pose(find_markers(photo), layout(), photo))
        check_sharp(view)
        result = "card"
    except Refused as refused:
        reason, result = refused.reason, refused.reason.code
    if reason is not None:
        assert reason.severity == "refuse"
        assert reason.message
        assert "{" not in reason.message
    assert time.perf_counter() - started < SLOWEST_S
    return result


@SETTINGS
@given(st.binary(max_size=2000))
def test_any_bytes(data):
    assert outcome(data) in ("not_a_picture", "too_small")


@SETTINGS
@given(st.sampled_from(sorted(PICTURES)), st.sampled_from(sorted(DAMAGES)), st.integers(0, 2**32 - 1))
def test_damaged_pictures(kind, damage, seed):
    outcome(damaged(kind, damage, seed))


@pytest.mark.parametrize("name", sorted(specimens()))
def test_specimens(name):
    data, expected = specimens()[name]
    assert outcome(data) in expected


@pytest.mark.slow
def test_a_short_run_of_the_fuzzer_over_the_three_readings():
    """In a process of its own, with time and memory measured; longer runs: ``python -m tests.fuzz_pictures``."""
    assert main(12, 1) == 0
