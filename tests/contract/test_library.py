"""`import stripread`: its names, its cost, that it says what the commands say, and how it turns wrong calls away."""

import io
import json
import pathlib
import pickle
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import stripread
from tests.contract.test_read_command import run

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "service" / "demo"
PROFILE = DEMO / "profile.toml"
STRIP, OTHER, BLURRED = (DEMO / "photos" / f"{n}.jpg" for n in ("05-wash-04", "04-wash-03", "03-wash-03-blurred"))
TINT, SOLID = DEMO / "windows" / "tint-1-first-wash.jpg", DEMO / "windows" / "solid-1-early.jpg"
NAMES = [
    "CallError", "CardJudgement", "CardLayout", "CombinedReading", "PhReading", "Profile", "Reason", "SolidReading",
    "StripDescription", "TintReading", "__version__", "card_layout", "combine", "describe_strip", "judge_card",
    "load_profile", "read_ph", "read_solid", "read_tint",
]  # fmt: skip


@pytest.fixture(scope="module")
def profile():
    return stripread.load_profile(PROFILE)


@pytest.fixture(scope="module")
def reading(profile):
    return stripread.read_ph(STRIP, profile)


def said(*args: str) -> list[dict]:
    """The command's JSON lines."""
    return [json.loads(line) for line in run(*args, "--json").stdout.splitlines()]


def same(result: dict, line: dict) -> None:
    """Equal but for ``photo`` and ``seconds``, also as JSON writes it."""
    assert set(result) == set(line)
    cut = [{k: v for k, v in one.items() if k not in ("photo", "seconds")} for one in (result, line)]
    assert json.dumps(cut[0]) == json.dumps(cut[1])


def test_the_public_names():
    assert stripread.__all__ == NAMES
    assert dir(stripread) == sorted(NAMES)
    assert all(getattr(stripread, name) is not None for name in NAMES)
    with pytest.raises(AttributeError, match="read_ink"):
        _ = stripread.read_ink


def test_importing_loads_nothing_and_costs_a_tenth_of_a_second_at_most():
    code = (
        "import sys, time; start = time.process_time(); import stripread; spent = time.process_time() - start;"
        "heavy = [m for m in sys.modules if m.split('.')[0] in ('numpy', 'cv2', 'scipy', 'PIL', 'matplotlib')];"
        "print(spent, heavy)"
    )
    out = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    spent, heavy = out.split(" ", 1)
    assert float(spent) <= 0.1
    assert heavy.strip() == "[]"


def test_a_ph_is_what_the_command_says(reading):
    same(reading.to_dict(), *said("read", str(STRIP), "--profile", str(PROFILE)))


def test_a_ph_with_its_details_is_what_the_command_says(profile):
    details = ("--dipped-at", "35", "--temperature-c", "60", "--rinse")
    (line,) = said("read", str(STRIP), "--profile", str(PROFILE), *details)
    assert line["waited_s"] == 35.0
    same(stripread.read_ph(STRIP, profile, waited_s=35, temperature_c=60, rinse=True).to_dict(), line)
    same(stripread.read_ph(STRIP, profile, dipped_at="35", temperature_c=60.0, rinse=True).to_dict(), line)


@pytest.mark.slow
@pytest.mark.parametrize("same_strip", [True, False])
def test_a_combination_is_what_the_command_says(profile, same_strip):
    photos = [str(OTHER), str(STRIP), str(BLURRED)]
    option = () if same_strip else ("--several-strips",)
    line = said("read", *photos, "--profile", str(PROFILE), "--combine", *option)[-1]
    result = stripread.combine(photos, profile, same_strip=same_strip)
    same(result.to_dict(), line)
    assert repr(result).startswith("<CombinedReading pH ")


def test_a_tint_is_what_the_command_says():
    details = (
        "--path-mm",
        "20",
        "--wash",
        "acid",
        "--ammonia-excess",
        "yes",
        "--retained-ml",
        "40",
        "--silver-g",
        "50",
    )
    more = ("--dilution", "1.5", "--water", "soft", "--ammonia-ph", "10", "--flakes", "no")
    (line,) = said("tint", str(TINT), *details, *more)
    shown = {"wash": "acid", "water": "soft", "ammonia_excess": "yes", "ammonia_ph": 10, "flakes": "no"}
    result = stripread.read_tint(str(TINT), path_mm=20, retained_ml=40, silver_g=50, dilution=1.5, **shown)
    same(result.to_dict(), line)
    assert result.metal


def test_a_description_is_what_the_command_says():
    result = stripread.describe_strip(str(STRIP))
    same(result.to_dict(), *said("describe", str(STRIP)))
    assert repr(result) == f"<StripDescription 4 pads {result.status}>"
    assert stripread.describe_strip(BLURRED).status == "refused"


def test_a_judgement_is_what_the_command_says():
    done = run("card", "--judge", str(STRIP), "--measured-mm", "100", "--json")
    same(stripread.judge_card(str(STRIP), measured_mm=100).to_dict(), json.loads(done.stdout))


def test_a_solid_is_what_the_command_says():
    same(stripread.read_solid(SOLID).to_dict(), *said("solid", str(SOLID)))
    (line,) = said("solid", str(SOLID), "--region", "36,57,20,20")
    same(stripread.read_solid(SOLID, region_mm=(36, 57, 20, 20)).to_dict(), line)


def test_the_card_is_what_the_command_says():
    line = json.loads(run("card", "--layout").stdout)
    card = stripread.card_layout()
    assert (card.version, list(card.size_mm), list(card.lane_mm)) == (line["version"], line["size_mm"], line["lane_mm"])
    assert [list(patch.rect_mm) for patch in card.patches] == [patch["rect_mm"] for patch in line["patches"]]


def test_path_bytes_and_pixels_are_one_photo(profile, reading):
    data = STRIP.read_bytes()
    of_bytes = stripread.read_ph(data, str(PROFILE))
    same(of_bytes.to_dict(), reading.to_dict())
    assert of_bytes.stamp.photo == "bytes"
    assert reading.stamp.photo == str(STRIP)
    pixels = np.asarray(Image.open(STRIP).convert("RGB"))  # the demo's photos are stored upright and in sRGB
    of_array = stripread.read_ph(pixels, profile)
    assert of_array.stamp.photo == "array"
    assert stripread.read_ph(pixels, profile, name="fourth wash").stamp.photo == "fourth wash"
    assert of_array.ph == pytest.approx(reading.ph, abs=0.02)  # two JPEG decoders differ by a level here and there
    assert of_array.interval == pytest.approx(reading.interval, abs=0.02)
    assert of_array.stamp.taken_at is None


def test_an_array_is_named_by_its_pixels(profile):
    rng = np.random.default_rng(1)
    pixels = rng.integers(0, 255, (150, 200, 3), dtype=np.uint8)
    import hashlib

    stated = hashlib.sha256(b"RGB uint8 150 200\n" + pixels.tobytes()).hexdigest()
    refused = stripread.read_ph(pixels, profile)
    assert refused.status == "refused"
    assert refused.stamp.sha256 == stated
    turned = np.asfortranarray(pixels)[:, ::-1][:, ::-1]  # the same picture in another order of memory
    assert stripread.read_ph(turned, profile).stamp.sha256 == stated
    assert stripread.read_ph(pixels[:, :199], profile).stamp.sha256 != stated


def test_a_large_array_is_read_at_the_working_size(profile, reading):
    pixels = np.asarray(Image.open(STRIP).convert("RGB")).repeat(3, axis=0).repeat(3, axis=1)
    large = stripread.read_ph(pixels, profile)
    assert max(pixels.shape) > 3050
    assert large.ph == pytest.approx(reading.ph, abs=0.02)
    corners = np.array([pad.corners_px for pad in large.pads]) / 3.0
    assert corners == pytest.approx(np.array([pad.corners_px for pad in reading.pads]), abs=0.5)


def test_a_bad_photo_is_refused_and_never_raises(profile):
    for photo in (BLURRED, b"", b"not a picture", np.zeros((9, 9, 3), np.uint8), np.zeros((300, 1, 3), np.uint8)):
        for result in (stripread.read_ph(photo, profile), stripread.read_tint(photo), stripread.read_solid(photo)):
            assert result.status == "refused" or photo is BLURRED
            assert json.dumps(result.to_dict())
        assert stripread.combine([photo], profile).reading.status == "refused"


@pytest.mark.parametrize("read", [stripread.read_tint, stripread.read_solid, lambda p: stripread.read_ph(p, PROFILE)])
@pytest.mark.parametrize(
    ("photo", "words"),
    [
        (None, "a path, bytes, or an RGB array .* not NoneType"),
        (7, "not an int"),
        (["x.jpg"], "not a list"),
        (np.zeros((300, 400), np.uint8), "300 x 400, uint8"),
        (np.zeros((300, 400, 4), np.uint8), "300 x 400 x 4, uint8"),
        (np.zeros((300, 400, 3)), "300 x 400 x 3, float64"),
        (np.zeros((0, 400, 3), np.uint8), "0 x 400 x 3"),
        ("nowhere.jpg", "^no such photo: nowhere.jpg$"),
        (pathlib.PurePath("nowhere.jpg"), "^no such photo: nowhere.jpg$"),
        (DEMO, f"^{DEMO} is a folder: name the photos in it$"),
        ("x" * 300, "^no such photo: "),
        ("a\0b", "is no path"),
    ],
)
def test_what_is_no_photo_gets_one_sentence(read, photo, words):
    with pytest.raises(stripread.CallError, match=words) as caught:
        read(photo)
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize("beside", [True, [7], 99, float("nan"), "nan", "vinegar"])
def test_what_is_no_liquid_gets_one_sentence(beside):
    with pytest.raises(stripread.CallError):
        stripread.read_ph(STRIP, PROFILE, beside=beside)


def test_a_liquid_may_be_a_number():
    assert stripread.read_ph(STRIP, PROFILE, beside=6.88).to_dict()["comparison"]["ph"] == 6.88


def test_the_sentence_for_a_missing_file_is_the_command_s():
    done = run("read", "nowhere.jpg", "--profile", str(PROFILE))
    with pytest.raises(stripread.CallError) as caught:
        stripread.read_ph("nowhere.jpg", PROFILE)
    assert done.stderr.strip() == f"stripread: {caught.value}"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: stripread.read_ph(STRIP, "nowhere.toml"), "can't read the profile nowhere.toml"),
        (lambda: stripread.read_ph(STRIP, DEMO / "strip.toml"), "is not a profile"),
        (lambda: stripread.read_ph(STRIP, 7), "profile is a path"),
        (lambda: stripread.load_profile(None), "profile is a path"),
        (lambda: stripread.read_ph(STRIP, PROFILE, waited_s=-3), "waited_s must lie between 0"),
        (lambda: stripread.read_ph(STRIP, PROFILE, waited_s=3, dipped_at="10:04"), "not both"),
        (lambda: stripread.read_ph(STRIP, PROFILE, dipped_at="soon"), "no dip time"),
        (lambda: stripread.read_ph(STRIP, PROFILE, dipped_at=[3]), "dipped_at"),
        (lambda: stripread.read_ph(STRIP, PROFILE, temperature_c=300), "temperature_c must lie between 0 and 100 °C"),
        (lambda: stripread.read_ph(STRIP, PROFILE, temperature_c=float("nan")), "temperature_c"),
        (lambda: stripread.read_ph(STRIP, PROFILE, temperature_c="25 C"), "temperature_c is a number, not a str"),
        (lambda: stripread.read_tint(TINT, path_mm=0), "path_mm"),
        (lambda: stripread.read_tint(TINT, dilution=0.5), "dilution"),
        (lambda: stripread.read_tint(TINT, wash="salty"), "wash is acid, neutral or unknown, not 'salty'"),
        (lambda: stripread.read_tint(TINT, standards="nowhere.toml"), "nowhere.toml"),
        (lambda: stripread.read_tint(TINT, standards=PROFILE), "is not a tint profile"),
        (lambda: stripread.read_solid(SOLID, region_mm=(1, 2, 3)), "four numbers"),
        (lambda: stripread.read_solid(SOLID, region_mm=(1, 2, 3, 0)), "more than nothing"),
        (lambda: stripread.combine([], PROFILE), "at least one photo"),
        (lambda: stripread.combine(str(STRIP), PROFILE), "a list of photos"),
        (lambda: stripread.combine([STRIP, "nowhere.jpg"], PROFILE), "no such photo"),
    ],
)
def test_a_wrong_call_gets_one_sentence(call, words):
    with pytest.raises(stripread.CallError, match=words) as caught:
        call()
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.slow
def test_a_pickled_result_is_equal_and_light(reading, profile):
    of_bytes = stripread.read_ph(STRIP.read_bytes(), profile)
    tint, solid = stripread.read_tint(TINT.read_bytes(), path_mm=20), stripread.read_solid(SOLID.read_bytes())
    for result in (reading, of_bytes, tint, solid, stripread.combine([STRIP], profile)):
        result._repr_html_()  # a picture once drawn does not stay with it
        packed = pickle.dumps(result)
        assert len(packed) < 10_000
        again = pickle.loads(packed)
        assert again == result
        assert again.to_dict() == result.to_dict()
        assert again.picture() is None
        assert repr(again) == repr(result)


def test_a_result_says_itself_in_a_line(reading, profile):
    assert re.fullmatch(r"<PhReading pH 3\.\d\d \(3\.\d\d to 3\.\d\d\) ok>", repr(reading))
    assert repr(stripread.read_ph(BLURRED, profile)) == "<PhReading no value refused: blurred>"
    found = repr(stripread.read_tint(TINT, path_mm=20))
    assert re.fullmatch(r"<TintReading copper \d+\.\d \(\d+\.\d to \d+\.\d\) mg/L \w+>", found)
    assert "absorbance" in repr(stripread.read_tint(TINT))
    assert re.fullmatch(r"<SolidReading pale 0\.\d+ \(0\.\d+ to 0\.\d+\) ok>", repr(stripread.read_solid(SOLID)))


def test_its_picture_is_drawn_from_the_very_photo(tmp_path, profile):
    copy = tmp_path / "wash.jpg"
    copy.write_bytes(STRIP.read_bytes())
    reading = stripread.read_ph(copy, profile)
    assert Image.open(io.BytesIO(reading.picture())).size == (1600, 1000)
    copy.write_bytes(OTHER.read_bytes())
    assert reading.picture() is None  # another photo under the old name is not this reading's
    copy.unlink()
    assert reading.picture() is None
    assert "<img" not in reading._repr_html_()


def test_the_readme_s_six_lines_run(capsys, monkeypatch):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    code = re.search(r"<!-- python -->\n```python\n(.*?)```", text, re.DOTALL).group(1)
    lines = [line for line in code.splitlines() if line]
    assert len(lines) == 6
    monkeypatch.chdir(ROOT)
    names: dict = {}
    exec(compile(code, "README.md", "exec"), names)
    promised = re.search(r"print\(reading\)  # (.*)", code).group(1)
    assert capsys.readouterr().out.splitlines()[0] == promised
    assert names["copper"].decision == "copper"
