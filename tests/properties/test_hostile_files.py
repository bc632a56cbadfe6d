"""Text files that were tampered with or made to hurt: one sentence and exit code 2, in bounded time and memory."""

import json
import re
import shutil
from pathlib import Path

import pytest

from calibration.tables import read_buffers
from service.bench.procedure import parse_procedure
from service.cli import main
from stripread.errors import CallError
from stripread.json_line import json_line
from stripread.kind import load_kind
from stripread.ph.profile import load_profile, profile_text
from stripread.tint.profile import TintProfile, default_response, load_tint_profile, save_tint_profile
from tests import fuzz_texts

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
PHOTO = str(next((DEMO / "photos").glob("*.jpg")))
KIND = (DEMO / "strip.toml").read_text(encoding="utf-8")
PROFILE = (DEMO / "profile.toml").read_text(encoding="utf-8")
LONG = "9" * 5_000
DEEP = "x = " + "[" * 5_000 + "]" * 5_000 + "\n"


def said(capsys, *argv: str) -> str:
    """What the command says on standard error as it ends with exit code 2."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as stop:
        main(list(argv))
    told = capsys.readouterr().err
    assert stop.value.code == 2
    assert told.count("\n") == 1
    assert "Traceback" not in told
    assert "internal" not in told
    return told


def sentence(call, path: Path) -> str:
    """What the caller is told: one line that names the file."""
    with pytest.raises(CallError) as told:
        call(path)
    text = str(told.value)
    assert "\n" not in text
    assert "internal" not in text
    assert len(text) < 500
    return text


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (r"width_mm = [0-9.]+", "width_mm = nan"),
        (r"width_mm = [0-9.]+", "width_mm = inf"),
        (r"width_mm = [0-9.]+", "width_mm = 1e9"),
        (r"width_mm = [0-9.]+", "width_mm = true"),
        (r"width_mm = [0-9.]+", 'width_mm = "6"'),
        (r"width_mm = [0-9.]+", f"width_mm = {LONG}"),
        (r"width_mm = [0-9.]+", "width_mm = -6.0"),
        (r'name = "[^"]*"', f'name = "{"n" * 5_000}"'),
        (r"range = \[.*\]", "range = [-inf, inf]"),
        (r"range = \[.*\]", "range = [14, 0]"),
        (r"range = \[.*\]", "range = [0]"),
        (r"range = \[.*\]", "range = [0, 14]\nread_after_s = [60, 10]"),
        (r"range = \[.*\]", "range = [0, 14]\n" + DEEP),
        (r"length_mm = 75\.?0?", "length_mm = nan"),
    ],
)
def test_a_strip_kind_that_no_strip_has_is_refused(tmp_path, old, new):
    path = tmp_path / "strip.toml"
    changed = re.sub(old, new, KIND, count=1)
    assert changed != KIND
    path.write_text(changed, encoding="utf-8")
    assert "strip.toml" in sentence(load_kind, path) or "strip kind" in sentence(load_kind, path)


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        (r"(?m)^format = 1", "format = -5", "format"),
        (r"(?m)^format = 1", "format = true", "format"),
        (r"(?m)^common = \[[^\]]*\]", "common = [-1.0, 1.0, 1.0]", "scatter"),
        (r"(?m)^common = \[[^\]]*\]", "common = [nan, 1.0, 1.0]", "scatter"),
        (r"(?m)^shift = .*", "shift = -0.2", "lot"),
        (r"(?m)^shift = .*", "shift = true", "lot"),
        (r"(?m)^points = .*", f"points = {LONG}", "digits"),
        (r"(?m)^points = .*", "points = 1e9", "points"),
        (r'(?m)^name = "[^"]*"', f'name = "{"n" * 5_000}"', "name"),
        (r'(?m)^evidence = "[^"]*"', 'evidence = "belief"', "evidence"),
        (r"(?m)^( *0\.00) +[0-9.-]+", r"\1 nan", "finite numbers a line"),
        (r"(?m)^( *0\.00) +[0-9.-]+", r"\1 1e9", "finite numbers a line"),
        (r"(?m)^format = 1", "format = 1\n" + DEEP, "nested"),
    ],
)
def test_a_profile_that_was_tampered_with_is_refused(tmp_path, capsys, old, new, word):
    path = tmp_path / "profile.toml"
    changed = re.sub(old, new, PROFILE, count=1)
    assert changed != PROFILE
    path.write_text(changed, encoding="utf-8")
    assert word in sentence(load_profile, path)
    assert word in said(capsys, "read", PHOTO, "--profile", str(path))


def test_a_file_too_large_is_not_even_parsed(tmp_path):
    path = tmp_path / "profile.toml"
    path.write_bytes(PROFILE.encode() + b"# " + b"x" * 3_000_000)
    assert "larger than 2 MB" in sentence(load_profile, path)


def test_a_curve_of_too_many_lines_is_refused(tmp_path):
    path = tmp_path / "profile.toml"
    rows = "\n".join(f"{n / 1000:.3f} 1 1 1" for n in range(20_000))
    path.write_text(re.sub(r'(?ms)^lab = """.*?"""', f'lab = """\n{rows}\n"""', PROFILE), encoding="utf-8")
    assert "more than 5000 lines" in sentence(load_profile, path)


def test_what_is_written_is_what_is_read(tmp_path):
    """The same rules on writing: a profile that could not be read again is not written."""
    from dataclasses import replace

    profile = load_profile(DEMO / "profile.toml")
    assert profile_text(profile) == PROFILE.removeprefix("\ufeff")
    wrong = replace(profile, strip=replace(profile.strip, lot=replace(profile.strip.lot, shift=float("nan"))))
    with pytest.raises(CallError, match=r"lot\.shift"):
        profile_text(wrong)
    with pytest.raises(CallError, match="absorbance_per_mg_l_mm"):
        save_tint_profile(TintProfile(float("inf"), 0.1), tmp_path / "tint.toml")
    assert not (tmp_path / "tint.toml").exists()


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_byte_order_mark_is_no_part_of_a_toml(tmp_path, mark):
    path = tmp_path / "strip.toml"
    path.write_bytes(mark + KIND.encode())
    assert load_kind(path) == load_kind(DEMO / "strip.toml")
    profile = tmp_path / "profile.toml"
    profile.write_bytes(mark + PROFILE.encode())
    assert load_profile(profile).name == load_profile(DEMO / "profile.toml").name
    tint = tmp_path / "tint.toml"
    save_tint_profile(TintProfile(0.001, 0.1), tint)
    tint.write_bytes(mark + tint.read_bytes())
    assert load_tint_profile(tint).response == 0.001


@pytest.mark.parametrize(
    "text",
    [
        "photo,ph\n" + "a.jpg,7\n" * 6_000,
        "photo;ph,at\na.jpg;7,0\n",
        "photo,ph\n" + "a" * 5_000 + ".jpg,7\n",
        "photo,ph\na.jpg,nan\n",
        "photo,ph\na.jpg,1e400\n",
        "photo,ph\na.jpg,7,8,9\n",
        "",
        "\x00\x01\x02",
    ],
)
def test_a_table_that_is_none_is_refused_by_the_command(tmp_path, capsys, text):
    shutil.copy(PHOTO, tmp_path / "a.jpg")
    (tmp_path / "buffers.csv").write_text(text, encoding="utf-8")
    files = ("--buffers", str(tmp_path / "buffers.csv"), "--out", str(tmp_path / "out.toml"))
    assert "buffers.csv" in said(capsys, "calibrate", str(DEMO / "strip.toml"), *files)
    assert not (tmp_path / "out.toml").exists()


@pytest.mark.parametrize("band", ["[-inf, inf]", "[nan, 7.0]", "[7.0, 5.0]", "[true, 8.0]", "[-1e9, 1e9]"])
def test_a_gate_that_is_always_open_is_no_gate(band):
    shipped = (DEMO.parent / "bench" / "procedures" / "chloride_lye_sugar.toml").read_text(encoding="utf-8")
    changed = re.sub(r"band = \[[^\]]*\]", f"band = {band}", shipped, count=1)
    assert changed != shipped
    with pytest.raises(CallError):
        parse_procedure(changed)


@pytest.mark.parametrize("value", ["inf", "nan", "0", "-1", "1e9"])
@pytest.mark.parametrize("option", ["--dilution", "--path-mm"])
def test_an_option_that_no_vial_has_is_refused(capsys, option, value):
    photo = str(next((DEMO / "windows").glob("*.jpg")))
    assert option.strip("-").split("-")[0] in said(capsys, "tint", photo, option, value, "--json")


def test_no_number_leaves_as_nan_or_infinity():
    assert json.loads(json_line({"a": [float("nan"), 1.5], "b": (float("nan"),)})) == {"a": [None, 1.5], "b": [None]}
    with pytest.raises(ValueError, match="JSON"):
        json_line({"a": float("inf")})


def test_random_hostile_files_are_read_or_refused_in_one_sentence():
    """A short run of ``python -m tests.fuzz_texts``; no chance in it, the seed is fixed."""
    assert fuzz_texts.run(150, 3) == 0


def test_a_message_keeps_its_spaces_and_loses_only_what_has_no_end():
    assert str(CallError("no file /a  b/c")) == "no file /a  b/c"
    assert str(CallError("two\nlines")) == "two lines"
    assert len(str(CallError("not " + "9" * 5_000))) < 310


def test_numbers_and_names_without_end_are_told_in_short(tmp_path):
    response = tmp_path / "response.toml"
    save_tint_profile(default_response(), response)
    endless = "relative_sd = 0x" + "f" * 4_000
    response.write_text(re.sub(r"(?m)^relative_sd = .*", endless, response.read_text(encoding="utf-8")), "utf-8")
    assert "number without end" in sentence(load_tint_profile, response)
    buffers = tmp_path / "buffers.csv"
    buffers.write_text("photo,ph\n" + "n" * 3_000 + ".jpg,7\n", encoding="utf-8")
    assert "no such file" in sentence(read_buffers, buffers)
    buffers.write_text(f"photo,ph\n{PHOTO},0x" + "f" * 3_000 + "\n", encoding="utf-8")
    assert "is not a number" in sentence(read_buffers, buffers)
