"""The map in DEVELOPERS.md is what the docstrings say now; if not: ``python -m tests.house_map --write``."""

from tests.house_map import PAPER, house_map, shortened, with_map


def test_map_is_up_to_date():
    text = PAPER.read_text(encoding="utf-8")
    assert with_map(text, house_map()) == text, "out of date: python -m tests.house_map --write"


def test_rooms_and_files_are_taken_from_docstrings(tmp_path):
    for name in ("stripread", "stripread/card"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text('"""A room of one idea. It knows no pH. Third sentence."""\n')
    (tmp_path / "stripread/card/edges.py").write_text('"""Corners of squares.\n\nMore of it.\n"""\n')
    drawn = house_map(tmp_path)
    assert "**stripread/card/** A room of one idea. It knows no pH.\n\n- `edges`: Corners of squares\n" in drawn
    assert "Third" not in drawn
    assert "More" not in drawn


def test_a_long_sentence_ends_in_an_ellipsis():
    assert shortened("word " * 40).endswith("word …")
    assert len(shortened("word " * 40)) <= 112
