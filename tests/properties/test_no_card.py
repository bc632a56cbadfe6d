"""Pictures that show no card, by others: all refused, with a reason. They are those that scikit-image ships."""

from pathlib import Path

import pytest
import skimage.data

from stripread import load_profile, read_ph, read_solid, read_tint

pytestmark = pytest.mark.slow  # pictures by others, each read three times
PROFILE = load_profile(Path(__file__).parents[2] / "service" / "demo" / "profile.toml")

PICTURES = sorted(
    p for p in Path(skimage.data.__file__).parent.glob("*") if p.suffix in {".png", ".jpg", ".tif", ".gif"}
)
READINGS = {"ph": lambda photo: read_ph(photo, PROFILE), "tint": read_tint, "solid": read_solid}


def test_there_are_pictures():
    assert len(PICTURES) >= 25


@pytest.mark.parametrize("picture", PICTURES, ids=lambda p: p.name)
def test_a_picture_without_a_card_is_refused(picture):
    for kind, read in READINGS.items():
        got = read(picture)
        assert got.status == "refused", f"{kind}: {got}"
        assert got.to_dict()["reasons"]
