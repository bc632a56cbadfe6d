"""Unused strips of known make: what is measured of them, what is said to be unsure, and the kind that comes of it."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from service.commands.first_day.describe import command
from stripread.describe.measure import Measure, _no_wider
from stripread.describe.read import describe_strip, measured
from stripread.errors import Refused
from stripread.kind import Pad, StripKind, kind_from_dict, load_kind, roll_kind
from stripread.user_file import toml_table
from tests.describe_study import judged
from tests.unit.describe.drawn_strips import seen, view_of
from tests.unit.strip.lane_pictures import Drawn, draw

DEMO = Path(__file__).resolve().parents[3] / "service" / "demo"
RED, GREEN, BLUE, YELLOW = (0.75, 0.3, 0.3), (0.35, 0.6, 0.35), (0.3, 0.4, 0.7), (0.8, 0.75, 0.25)
THREE = StripKind("three", 6.0, 70.0, (Pad(2.0, 5.0), Pad(9.5, 6.5), Pad(18.0, 4.5)), (0.0, 14.0))
ROLL = roll_kind("roll", (3.0, 11.0))


@pytest.mark.parametrize(("angle", "end"), [(0.0, (32.0, 37.0)), (4.0, (30.0, 35.0)), (-3.0, (45.0, 40.0))])
def test_pads_are_measured_from_the_dipped_end(angle, end):
    got = seen(THREE, [RED, GREEN, BLUE], angle=angle, end=end)
    for found, pad in zip(got.strip.pads, THREE.pads, strict=True):
        assert found.offset.mm == pytest.approx(pad.offset_mm, abs=0.25)
        assert found.length.mm == pytest.approx(pad.length_mm, abs=0.2)
        assert found.width.mm == pytest.approx(6.0, abs=0.3)
    assert got.strip.width.mm == pytest.approx(6.0, abs=0.4)
    assert got.strip.length.mm == pytest.approx(70.0, abs=0.4)
    assert got.doubts == (None, None, None)
    np.testing.assert_allclose(got.outline_mm[0][0], end[0], atol=0.6)


@pytest.mark.parametrize("count", [1, 2, 4, 6])
def test_pads_are_counted(count):
    kind = StripKind("some", 5.0, 75.0, tuple(Pad(1.5 + 7.5 * n, 5.0) for n in range(count)), (0.0, 14.0))
    colours = [RED, GREEN, BLUE, YELLOW, GREEN, RED][:count]
    assert len(seen(kind, colours).strip.pads) == count


def test_a_pad_that_begins_with_the_strip():
    kind = StripKind("flush", 6.0, 60.0, (Pad(0.0, 6.0),), (0.0, 14.0))
    (pad,) = seen(kind, [GREEN]).strip.pads
    assert pad.offset.mm == pytest.approx(0.0, abs=0.2)
    assert pad.length.mm == pytest.approx(6.0, abs=0.2)


def test_a_pale_pad_is_found_or_its_place_doubted():
    carrier = np.array([0.8, 0.82, 0.78])
    for paler in (0.2, 0.1, 0.05, 0.02, 0.0):
        got = seen(THREE, [RED, tuple(carrier * (1 - paler)), BLUE], carrier=tuple(carrier))
        found = [pad for pad in got.strip.pads if abs(pad.offset.mm - 9.5) < 0.4 and abs(pad.length.mm - 6.5) < 0.6]
        doubted = "pad_may_hide" in {reason.code for reason in got.reasons} or any(got.doubts)
        assert found or doubted, paler
    assert doubted
    assert len(got.strip.pads) == 2  # nothing is there to be seen


def test_a_pad_that_was_counted_is_looked_for_and_missed_aloud():
    """One so pale that it costs more than it explains, by itself taken for carrier; and one that can't be seen."""
    carrier = np.array([0.8, 0.82, 0.78])
    for paler, found in ((0.02, 3), (0.0, 2)):
        view = view_of(THREE, [RED, tuple(carrier * (1 - paler)), BLUE], carrier=tuple(carrier))
        assert len(measured(view).strip.pads) == 2
        got = measured(view, 3)
        assert len(got.strip.pads) == found
        assert ("pads_miscounted" in {reason.code for reason in got.reasons}) == (found < 3)
    assert "pads_miscounted" not in {reason.code for reason in measured(view, 2).reasons}


@pytest.mark.parametrize(("wide", "said", "sd"), [(5.8, 5.8, 0.1), (7.1, 5.9, 1.204)])
def test_a_pad_is_no_wider_than_its_strip(wide, said, sd):
    found = _no_wider(Measure(wide, 0.1), Measure(5.9, 0.1))
    assert (found.mm, found.sd) == (pytest.approx(said), pytest.approx(sd, abs=0.001))


def test_what_is_not_sure_is_to_be_corrected_before_a_calibration(tmp_path):
    """The dipped end of the demo's strip is hard to see; roll paper is known without a photo."""
    photo = str(DEMO / "photos" / "05-wash-04.jpg")
    for given, words in (("--roll", "Calibrate with it"), (photo, "not sure yet. Correct in it")):
        out = tmp_path / f"{len(words)}.toml"
        done = CliRunner().invoke(command, [given, "--out", str(out), "--name", "four", "--range", "0", "14"])
        assert done.exit_code == 0, done.output
        assert words in done.output
        assert kind_from_dict(toml_table(out.read_text(encoding="utf-8"), "made", "a TOML file"), "made").name == "four"


def test_a_stub_as_white_as_the_paper_leaves_the_dipped_end_open():
    """The first pad seems to begin with the strip; a grey carrier's stub is seen, or not there."""
    kind = StripKind("flush", 6.0, 60.0, (Pad(0.0, 6.0), Pad(8.0, 6.0)), (0.0, 14.0))
    for carrier, open_end in (((0.9, 0.9, 0.9), True), ((0.8, 0.82, 0.78), False)):
        got = seen(kind, [GREEN, RED], carrier=carrier)
        assert got.strip.pads[0].offset.mm < 0.3
        said = [reason.message for reason in got.reasons if reason.code == "dipped_end_unsure"]
        assert any("bare end" in message for message in said) == open_end


def test_roll_paper_is_one_pad_as_long_as_the_piece():
    got = seen(ROLL, [YELLOW])
    assert got.strip.roll
    assert got.strip.length.mm == pytest.approx(40.0, abs=0.3)
    assert got.strip.width.mm == pytest.approx(7.0, abs=0.3)
    assert got.doubts == (None,)


def test_an_empty_lane_is_no_strip():
    view = draw(THREE, [])
    view.edge_mm = 0.5
    with pytest.raises(Refused) as refused:
        measured(view)
    assert refused.value.reason.code == "no_strip"


def test_shine_on_a_pad_is_said():
    got = seen(THREE, [RED, GREEN, BLUE], glare=(44.5, 37.0, 2.0, 0.7))
    assert got.doubts[1] is not None


def test_a_second_strip_is_something_else_in_the_lane():
    strips = [Drawn((32.0, 31.0), 0.0, [RED, GREEN, BLUE]), Drawn((32.0, 43.0), 0.0, [RED, GREEN, BLUE])]
    view = draw(THREE, strips, edge_shade=0.1)
    view.edge_mm = 0.5
    assert "strip_not_alone" in {reason.code for reason in measured(view).reasons}


@pytest.fixture(scope="module")
def described():
    return describe_strip((DEMO / "photos" / "05-wash-04.jpg").read_bytes(), "05-wash-04.jpg")


def test_a_photo_of_the_demo_gives_the_demos_kind(described):
    kind = described.kind("four-pad 0-14", (0.0, 14.0), (10.0, 60.0))
    known = load_kind(DEMO / "strip.toml")
    assert len(kind.pads) == len(known.pads) == 4
    for one, other in zip(kind.pads, known.pads, strict=True):  # pads are glued on 0.2 mm off: tests.scenes.surfaces
        assert one.offset_mm == pytest.approx(other.offset_mm, abs=0.7)
        assert one.length_mm == pytest.approx(other.length_mm, abs=0.4)
    assert kind.width_mm == pytest.approx(known.width_mm, abs=0.5)
    assert kind.length_mm == pytest.approx(known.length_mm, abs=0.7)


def test_the_kind_is_what_its_file_says(described):
    from stripread.kind import kind_text

    kind = described.kind("four", (0.0, 14.0))
    again = kind_from_dict(toml_table(kind_text(kind), "made", "a TOML file"), "made")
    assert again == kind
    assert kind_from_dict(toml_table(kind_text(ROLL), "made", "a TOML file"), "made").is_roll


def test_outline_and_pads_lie_on_the_photo(described):
    table = described.to_dict()
    outline, pads = np.array(table["outline_px"]), np.array([pad["corners_px"] for pad in table["pads"]])
    low, high = outline.min(axis=0) - 4, outline.max(axis=0) + 4
    assert ((pads >= low) & (pads <= high)).all()
    assert np.linalg.norm(outline[1] - outline[0]) > 5 * np.linalg.norm(outline[3] - outline[0])
    assert table["pads"][0]["sure"] == (table["pads"][0]["doubt"] is None)


def test_the_study_counts_what_is_wrong_and_what_is_said(described):
    """A pad that is off, one that is missed, one that is none: each counts once."""
    from tests.scenes.unused import Unused, UnusedPad

    def strip(*pads):
        made = tuple(UnusedPad(a, b, 6.0, 0.0, ()) for a, b in pads)
        return Unused(6.0, 75.0, made, "white", False, 0)

    there = [(pad.offset.mm, pad.length.mm) for pad in described.pads]
    assert all(row.right for row in judged(strip(*there), described))
    off = judged(strip((there[0][0] + 0.5, there[0][1]), *there[1:]), described)
    assert [row.right for row in off] == [False, True, True, True]
    missed = judged(strip(*there, (50.0, 5.0)), described)
    assert [row.found for row in missed] == [True, True, True, True, False]
    assert [row.there for row in judged(strip(*there[:3]), described)] == [True, True, True, False]


def test_no_photo_is_refused():
    described = describe_strip(b"nothing", "x")
    assert described.status == "refused"
    assert described.to_dict()["width_mm"] is None
    with pytest.raises(ValueError, match="nothing was measured"):
        described.kind("x", (0.0, 14.0))


def test_what_lies_beside_the_printed_line_is_less_sure():
    near, far = (seen(THREE, [RED, GREEN, BLUE], end=(x, 37.0)).strip.start.sd for x in (24.2, 32.0))
    assert near > far + 0.2
    assert view_of(THREE, [RED, GREEN, BLUE]).px_per_mm == 5.0
