"""The search's kept words: they find what reading every row finds, and are kept by every way in."""

import random
from datetime import timedelta

import pytest
from click.testing import CliRunner
from sqlalchemy import select, text

from service.cli import app
from service.log import store
from service.log.aside.phones import keep_phone, name_phone, photos_to_look_at
from service.log.check.sums import sum_faults
from service.log.database import Database
from service.log.finding import candidates, search
from service.log.finding.sources import Wanted
from service.log.models import search_ends, search_rows
from service.log.notes import add_note
from service.log.search_words.recount import recount_words, word_faults
from service.log.search_words.rows import beginning_of, ends_of, words_in
from tests.log.conftest import add_reading
from tests.log.made_logs import as_older_form, made_log
from tests.scale.fill import Filler

ASKED = (
    "wash",
    "a",
    "ash 1",
    "塩化",
    "тест".upper(),
    "aï",
    "🧪",
    "=1+1",
    "weight",
    "gram",
    "0.",
    "1 2",
    "phone",
    "any one",
    '"',
    "nowhere",
)


def _everything(c, wanted, limit=7):
    found, after = [], None
    while True:
        page = search.search(c, wanted, limit=limit, after=after)
        found, after = [*found, *page.found], page.after
        if after is None:
            return found


def _kept(c):
    return tuple(sorted(map(tuple, c.execute(select(table)).all())) for table in (search_rows, search_ends))


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def made(request, tmp_path):
    url = request.getfixturevalue("postgres_log").url if request.param == "postgres" else None
    made = made_log(tmp_path / "data", 11, steps_taken=120, url=url)
    with made.database.write() as c:
        for n, sha256 in enumerate(photos_to_look_at(c, 1000)):
            keep_phone(c, sha256, (("Anyone", "phone 1"), ("Any", "other 2"), ("", ""))[n % 3])
        name_phone(c, 2, "Bench Phone")
    yield made
    made.database.close()


def test_the_words_find_what_reading_every_row_finds(made, monkeypatch):
    """Against the same search without its words, which reads the rows one after the other."""
    rng = random.Random(4)
    asked = [Wanted(words) for words in ASKED]
    asked += [Wanted(rng.choice(ASKED), kind=k) for k in ("batch", "weight", "decant", "ph", "tint")]
    asked += [Wanted(rng.choice(("", "wash")), status=s) for s in ("ok", "doubtful", "refused")]
    with made.database.read() as c:
        with monkeypatch.context() as patch:
            patch.setattr(search, "has_words", lambda _: False)
            by_rows = [_everything(c, wanted) for wanted in asked]
        assert sum(map(bool, by_rows)) > len(asked) / 2
        assert [_everything(c, wanted) for wanted in asked] == by_rows
        monkeypatch.setattr(candidates, "_FEW", 1)  # by stretches of time, and in small steps
        monkeypatch.setattr(candidates, "_STRETCHES", tuple(timedelta(milliseconds=100 * 2**n) for n in range(8)))
        monkeypatch.setattr(search, "_AT_ONCE", 3)
        assert [_everything(c, wanted) for wanted in asked] == by_rows
        monkeypatch.setattr(search, "_LOOKED_AT", 4)  # pages that end where they are
        assert [_everything(c, wanted) for wanted in asked] == by_rows
        monkeypatch.setattr(candidates, "_BROAD", 0)  # parts that too many words have
        monkeypatch.setattr(search, "_STRETCH", 5)
        assert [_everything(c, wanted) for wanted in asked] == by_rows


def test_what_each_transaction_keeps_is_what_counting_anew_gives(made):
    with made.database.write() as c:
        batch = store.add_batch(c, "Größe und SO weiter")
        store.change_batch(c, batch, name="und anders", closed=None, details=None)
        assert list(word_faults(c)) == []
        rows, ends = _kept(c)
        recount_words(c)
        again, needed = _kept(c)
    assert rows == again
    assert set(needed) <= set(ends)  # those of a name that was given up may stay
    assert len(rows) > 300


def test_a_row_without_its_words_is_found_by_the_check_and_mended(tmp_path):
    made = made_log(tmp_path, 3)
    for harm in (
        "DELETE FROM search_rows WHERE number = 2",
        "UPDATE search_rows SET at = '2020-01-01T00:00:00.000000+00:00' WHERE source = 0",
        "DELETE FROM search_ends",
    ):
        with made.database.write() as c:
            c.execute(text(harm))
            assert any("log recount" in fault for fault in sum_faults(c)), harm
        assert CliRunner().invoke(app, ["log", "recount", "--data", str(tmp_path)]).exit_code == 0
        with made.database.read() as c:
            assert list(sum_faults(c)) == []
    made.database.close()


def test_an_older_log_gets_its_words_and_a_copy_that_is_only_read_needs_none(tmp_path):
    made = made_log(tmp_path / "data", 5)
    with made.database.write() as c:
        add_note(c, store.add_batch(c, "one more"), "used", {"what": "blue powder", "grams": 5.0})
    older = as_older_form(made, tmp_path / "older.sqlite3", "0009")
    made.database.close()
    older.close()
    read = Database(f"sqlite:///{tmp_path / 'older.sqlite3'}", read_only=True)
    with read.read() as c:
        before = _everything(c, Wanted("blue pow"))
    read.close()
    older.migrate()
    with older.read() as c:
        assert _everything(c, Wanted("blue pow")) == before != []
        assert list(word_faults(c)) == []
    older.close()


def test_a_word_of_two_phones_photos_is_kept_whichever_comes_first(sqlite_log):
    log = Database(sqlite_log.url)
    log.migrate()
    with log.write() as c:
        batch = store.add_batch(c, "one")
        add_reading(c, sqlite_log.data, batch, 3.0)
        add_reading(c, sqlite_log.data, batch, 4.0)
        (first, *_) = photos_to_look_at(c)
        keep_phone(c, first, ("Anyone", "A-1"))
        assert len(_everything(c, Wanted("a-1"))) == 1
        assert list(word_faults(c)) == []
    log.close()


def test_a_search_reads_few_rows_of_a_long_log(tmp_path, monkeypatch):
    """What SQLite does, counted by its own progress in steps of its machine: a rare word, and two together."""
    url = f"sqlite:///{tmp_path / 'log.sqlite3'}"
    Filler(tmp_path, url).fill(800, 28)
    log = Database(url)

    def steps(c, words):
        count = []
        connection = c.connection.driver_connection
        connection.set_progress_handler(lambda: count.append(1) and None, 100)
        page = search.search(c, Wanted(words))
        connection.set_progress_handler(None, 0)
        return len(count), page.found

    with log.read() as c:
        monkeypatch.setattr(candidates, "_FEW", 40)
        by_words = [steps(c, words) for words in ("Chloride 3,", "cloudy chloride", "second strip of")]
        monkeypatch.setattr(search, "has_words", lambda _: False)
        by_rows = [steps(c, words) for words in ("Chloride 3,", "cloudy chloride", "second strip of")]
    log.close()
    assert [found for _, found in by_words] == [found for _, found in by_rows]
    assert by_words[0][0] * 8 < by_rows[0][0]
    assert by_words[1][0] * 2 < by_rows[1][0]


def test_a_word_is_found_by_each_of_its_parts():
    """Any part of a word is the beginning of one of its ends; white space alone parts words, in every alphabet."""
    word = "größe-of-a-long-word-塩化銀"
    for start in range(len(word)):
        for stop in range(start + 1, len(word) + 1):
            assert any(end.startswith(beginning_of(word[start:stop])) for end in ends_of(word))
    for n in range(0x11_0000):  # no letter becomes white space as it is made small
        letter = chr(n)
        assert letter.isspace() or not any(part.isspace() for part in letter.casefold()), hex(n)
    assert words_in("Two  words\u2003more", None, 1.5) == {"two", "words", "more", "1.5"}
    assert beginning_of("\x00\ud800") == ""
