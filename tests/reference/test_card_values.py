"""The user's own measurements of the card: colormath's conversions against colour-science's."""

import warnings

import numpy as np
import pytest

from stripread.card.layout import layout
from stripread.card.measured import measured_values
from stripread.card.values import nominal_values
from stripread.colour import WHITE_D50, rgb_to_lab
from stripread.errors import CallError

NAME = layout().patches[30].id


def write(tmp_path, text):
    path = tmp_path / "card.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_lab_d50_is_taken_as_it_is(tmp_path):
    values = measured_values(write(tmp_path, f"patch,L,a,b\n{NAME},52.5,-20.25,31\n"))
    assert rgb_to_lab(values.rgb[30]) == pytest.approx([52.5, -20.25, 31], abs=0.02)
    assert values.source == "measured"
    others = np.arange(len(values.rgb)) != 30
    assert values.rgb[others] == pytest.approx(nominal_values().rgb[others])


def test_our_white_is_the_library_s_d50():
    """ASTM E308's D50, 2 degrees: the white that both sides of every conversion rest on."""
    from colormath.color_constants import ILLUMINANTS

    assert pytest.approx(WHITE_D50, abs=1e-5) == ILLUMINANTS["2"]["d50"]


def test_lab_d65_is_adapted_by_bradford(tmp_path):
    import colour

    values = measured_values(write(tmp_path, f"patch,L,a,b,illuminant\n{NAME},60,35,-20,d65\n"))
    white = colour.xyY_to_XYZ([0.31271, 0.32902, 1.0])
    xyz = colour.Lab_to_XYZ([60, 35, -20], [0.31271, 0.32902])
    adapted = colour.adaptation.chromatic_adaptation_VonKries(xyz, white, WHITE_D50, transform="Bradford")
    theirs = colour.XYZ_to_Lab(adapted, colour.XYZ_to_xy(WHITE_D50))
    assert rgb_to_lab(values.rgb[30]) == pytest.approx(theirs, abs=0.03)


def test_a_spectrum_is_summed_under_d50(tmp_path):
    import colour

    nm = np.arange(380, 731, 10)
    reflectance = 0.1 + 0.7 / (1 + np.exp(-(nm - 580) / 15))  # an orange edge
    head = "patch," + ",".join(map(str, nm))
    values = measured_values(write(tmp_path, f"{head}\n{NAME}," + ",".join(f"{v:.5f}" for v in reflectance) + "\n"))
    sd = colour.SpectralDistribution(dict(zip(nm, reflectance, strict=True)))
    with warnings.catch_warnings():  # it says that it resamples the illuminant, which is wanted here
        warnings.simplefilter("ignore")
        xyz = colour.sd_to_XYZ(sd, illuminant=colour.SDS_ILLUMINANTS["D50"].copy()) / 100
    theirs = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(WHITE_D50))
    # colormath sums at 10 nm with its own table: an orange edge within 0.1 of the 1 nm sum
    assert rgb_to_lab(values.rgb[30]) == pytest.approx(theirs, abs=0.1)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("patch,L,a,b\nnope,1,2,3\n", "line 2"),
        (f"patch,L,a,b\n{NAME},x,2,3\n", "line 2"),
        (f"patch,L,a\n{NAME},50,2\n", "line 1: no column b"),
        (f"patch,400,500\n{NAME},80,90\n", "reflectance"),
        ("patch,L,a,b\n", "no lines"),
    ],
)
def test_a_wrong_table_names_the_line(tmp_path, text, word):
    with pytest.raises(CallError, match=word):
        measured_values(write(tmp_path, text))


def test_a_missing_file(tmp_path):
    with pytest.raises(CallError, match="can't read"):
        measured_values(tmp_path / "none.csv")
