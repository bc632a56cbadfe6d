"""What holds for every test: one thread a process, as in the service's workers.

The small matrices of a reading gain nothing from more threads, which wait in loops meanwhile: on two busy cores a
curve's fit took four times the processor's time. Set before the linear algebra is loaded, and handed on to what tests
start.
"""

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
for _name in ("LC_ALL", "LC_MESSAGES", "LANG", "LANGUAGE"):
    os.environ.pop(_name, None)  # what tests start speaks English, wherever they run

import cv2  # noqa: E402 - after the settings

cv2.setNumThreads(1)

import pytest  # noqa: E402 - after the settings
from hypothesis import settings  # noqa: E402 - after the settings

settings.register_profile("untimed", deadline=None)  # speed is for the benchmark: a busy machine fails no test
settings.load_profile("untimed")

from tests.slow_tests import function_of, slow_tests  # noqa: E402


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Tests that were measured to be slow carry the mark, as if it stood in their file."""
    for item in items:
        if function_of(item.nodeid) in slow_tests():
            item.add_marker(pytest.mark.slow)
