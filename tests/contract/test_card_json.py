"""`stripread card` as the interface fixes it: keys, units, exit codes."""

import json

import pytest
from click.testing import CliRunner

from service.cli import app, main
from service.commands.card import command


def _layout(*arguments):
    result = CliRunner().invoke(app, ["card", "--layout", *arguments])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


@pytest.mark.parametrize(("paper", "page"), [("a4", [210.0, 297.0]), ("letter", [215.9, 279.4])])
def test_layout_has_exactly_the_agreed_keys(paper, page):
    card = _layout("--paper", paper)
    keys = {"version", "size_mm", "page_mm", "origin_mm", "lane_mm", "windows", "patches", "markers"}
    assert set(card) == keys
    assert card["page_mm"] == page  # ISO 216; ANSI Y14.1: 8.5 x 11 inch (both from memory, not looked up)
    assert isinstance(card["version"], str)
    assert [len(card[name]) for name in ("size_mm", "origin_mm", "lane_mm")] == [2, 2, 4]
    assert set(card["windows"]) == {"sample", "blank"}
    for window in card["windows"].values():
        assert set(window) == {"centre_mm", "radius_mm"}
    for patch in card["patches"]:
        assert set(patch) == {"id", "rect_mm", "srgb", "role"}
        assert patch["role"] in {"grey", "colour", "white", "scale"}
        assert len(patch["rect_mm"]) == 4
        assert all(isinstance(v, int) and 0 <= v <= 255 for v in patch["srgb"])
    for marker in card["markers"]:
        assert set(marker) == {"id", "corners_mm"}
        assert [len(corner) for corner in marker["corners_mm"]] == [2, 2, 2, 2]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_two_cards_fit_on_the_page(paper):
    card = _layout("--paper", paper)
    (x, y), (w, h), (page_w, page_h) = card["origin_mm"], card["size_mm"], card["page_mm"]
    assert x >= 5
    assert x + w <= page_w - 5
    assert y + 2 * h <= page_h - 5


def test_out_writes_a_pdf_and_layout_may_go_with_it(tmp_path):
    out = tmp_path / "card.pdf"
    result = CliRunner().invoke(command, ["--out", str(out), "--paper", "Letter"])
    assert result.exit_code == 0
    assert "100 %" in result.stdout
    alone = out.read_bytes()
    assert alone.startswith(b"%PDF-")
    result = CliRunner().invoke(command, ["--out", str(out), "--paper", "letter", "--layout"])
    assert json.loads(result.stdout)["page_mm"] == [215.9, 279.4]
    assert out.read_bytes() == alone


@pytest.mark.parametrize(
    "arguments",
    [["--paper", "a5", "--layout"], [], ["--out", "{tmp}/no/such/folder/card.pdf"], ["--out", "{tmp}"], ["--loud"]],
    ids=["bad paper", "nothing asked", "no folder", "a folder", "no such option"],
)
def test_wrong_calls_end_with_2_and_one_line(arguments, tmp_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["card", *(a.replace("{tmp}", str(tmp_path)) for a in arguments)])
    assert stop.value.code == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert printed.err.startswith("stripread: ")
    assert "Traceback" not in printed.err
