"""The batches of docs/worked-batches.md by the page alone: the account of the silver is the command's."""

from dataclasses import replace

import pytest

from tests.ledger.worked import worked_batches
from tests.page.phone import Phone
from tests.page.test_page import complaints
from tests.worked_on_the_page import Walker, differences

pytestmark = pytest.mark.slow  # a real browser
SHORT = ("new", "chloride", "reduce", "filtered", "grams=80.0", "grams=57.3", "vessels")  # of the batch by iron


@pytest.fixture
def walker(browser, server, tmp_path):
    complaints(browser)
    return Walker(Phone(browser, server.url, tmp_path).open(), tmp_path / "data", say=lambda _: None)


def _as_first(words):
    """The same of a log that has no batch before it."""
    return tuple("1" if place == 2 and word == "2" else word for place, word in enumerate(words))


def test_a_batch_from_the_first_weight_to_bars(walker, browser):
    iron = worked_batches()[1]
    commands = [words for words in map(_as_first, iron.commands) if any(one in " ".join(words) for one in SHORT)]
    assert len(commands) == len(SHORT)
    number = walker.walk(replace(iron, commands=tuple(commands)))
    assert differences(walker, replace(iron, wanted=()), number) == []
    assert walker.wide == []
    told = walker.phone.by_id("timeline").text
    assert "Turn it to metal against the gate: no blue with ammonia in two washes" in told  # its title, not its id
    assert "of batch number" not in told
    # Back to a stage by name, with a reason; vessels that the log knows are offered.
    walker.another_stage("acid-wash", "blue after all", "M.")
    assert "Wash the copper out" in walker.phone.by_id("stage-title").text
    assert "clear pot" in walker.offered("moved", "vessel")
    assert not complaints(browser)


@pytest.mark.thorough
def test_the_three_batches_of_the_paper(walker):
    for worked in worked_batches():
        assert differences(walker, worked, walker.walk(worked)) == []
    assert walker.wide == []
