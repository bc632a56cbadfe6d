"""The file of readings made anew: nobody's file is overwritten, one run at a time, a damaged line told at once."""

from contextlib import closing

import pytest

from service.readers.archive.asked import Asked
from service.readers.archive.made import Made
from service.readers.worker import Outcome
from stripread.errors import CallError

ASKED = Asked(software="test", begun_at="2026-01-01T00:00:00+00:00", up_to=9, head="")


@pytest.fixture
def file(tmp_path):
    """Two readings and one that failed."""
    with closing(Made(tmp_path)) as made:
        made.begin(ASKED)
        made.add(1, Outcome({"ph": 7.0, "seconds": 3.0}))
        made.add(2, None)
        made.add(3, None, "failed", "RuntimeError: a fault of ours")
        made.keep()
    return made.path


def _begun(folder):
    with closing(Made(folder)) as made:
        made.begin(ASKED)
        return made.done


def _refused(folder):
    with pytest.raises(CallError) as refused:
        _begun(folder)
    assert "\n" not in str(refused.value)
    return str(refused.value)


@pytest.mark.parametrize("content", [b"a letter", b"a letter\n", b'{"software":"other"}', b"\xff\xfe\n" * 3, b"{}\n"])
def test_no_file_of_somebodys_is_overwritten(tmp_path, content):
    (tmp_path / "readings.jsonl").write_bytes(content)
    assert "is no file of readings" in _refused(tmp_path)
    assert (tmp_path / "readings.jsonl").read_bytes() == content


def test_a_file_of_another_question_is_left_as_it_is(tmp_path, file):
    cut = file.read_bytes()[:-5]
    file.write_bytes(cut)
    with pytest.raises(CallError, match="another question"), closing(Made(tmp_path)) as made:
        made.begin(ASKED.model_copy(update={"batches": (3,)}))
    assert file.read_bytes() == cut


def test_what_was_cut_off_or_failed_is_tried_again(tmp_path, file):
    assert _begun(tmp_path) == {1, 2}
    whole = file.read_bytes()
    file.write_bytes(whole[:-5])
    assert _begun(tmp_path) == {1, 2}
    assert file.read_bytes() == whole[: whole[:-1].rfind(b"\n") + 1]


@pytest.mark.parametrize("line", [b"{", b"7", b"[]", b'{"entry":"2"}', b'{"entry":2}', b"\x00\x00"])
def test_a_damaged_line_is_told_in_a_sentence(tmp_path, file, line):
    lines = file.read_bytes().splitlines(keepends=True)
    file.write_bytes(b"".join([*lines[:2], line + b"\n", *lines[3:]]))
    assert "line 3 of " in _refused(tmp_path)


def test_two_runs_do_not_share_a_folder(tmp_path, file):
    with closing(Made(tmp_path)) as made:
        made.begin(ASKED)
        assert "another stripread writes into" in _refused(tmp_path)
    assert _begun(tmp_path) == {1, 2}
