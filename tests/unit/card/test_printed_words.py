"""The words as the sheet prints them, larger and darker than in the rendered scenes, change no reading.

The scenes draw the card with small pale words. Here the words are those of the PDF itself: what is dark on its page
where the scene's card has paper.
"""

import io

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from stripread.card import pdf
from stripread.card.layout import SIZE_MM
from stripread.ph.read import read_ph
from stripread.solid.read import read_solid
from stripread.tint.read import TintRequest, read_tint
from tests.scenes import surfaces
from tests.scenes.demo import CEILING, DEPTH_MM, WINDOW, shot, window_shots
from tests.scenes.photo import render
from tests.unit.ph.test_read import PROFILE

drawn = surfaces.card_raster.__wrapped__


def printed_raster(ppm):
    """The scene's card with the sheet's own words in place of the scene's."""
    document = pypdfium2.PdfDocument(io.BytesIO(pdf.draw_sheet("a4")))
    page = document[0].render(scale=ppm * 25.4 / 72, grayscale=True).to_pil()
    document.close()
    x, y = (round(at * ppm) for at in pdf.PAPERS["a4"].origins_mm[0])
    raster = drawn(ppm).copy()
    grey = np.asarray(page.crop((x, y, x + raster.shape[1], y + raster.shape[0])))
    raster[raster == surfaces.LABEL] = surfaces.PAPER
    raster[(raster == surfaces.PAPER) & (grey < 150) & _clear_of(drawn(ppm), ppm)] = surfaces.LABEL
    return raster


def _clear_of(raster, ppm):
    """Away from patches, marks and rings, whose edges fall on the sheet's own pixels a little differently."""
    inked = Image.fromarray((~np.isin(raster, (surfaces.PAPER, surfaces.LABEL))).astype(np.uint8) * 255)
    reduced = inked.resize((round(SIZE_MM[0] * 4), round(SIZE_MM[1] * 4)), Image.Resampling.BOX)
    return np.asarray(reduced.resize(inked.size)) == 0


def both(monkeypatch, scene):
    """The same photo with the scene's words and with the sheet's."""
    plain = render(scene).data
    monkeypatch.setattr(surfaces, "card_raster", printed_raster)
    monkeypatch.setattr(surfaces, "LABEL_SRGB", pdf._LABEL)
    printed = render(scene).data
    assert printed != plain
    return plain, printed


def test_the_sheet_s_words_are_there():
    ppm = 10
    with_words = printed_raster(ppm) == surfaces.LABEL
    assert with_words[round(22.2 * ppm) : round(24.5 * ppm), 230:400].any()  # dipped
    assert with_words[790:830, 200:370].any()  # sample
    assert with_words.sum() > 3 * (drawn(ppm) == surfaces.LABEL).sum()


@pytest.mark.parametrize(
    ("number", "ph", "lamps"), [(301, 3.4, (WINDOW,)), (302, 7.6, (CEILING,)), (303, 11.0, (WINDOW, CEILING))]
)
def test_strips_read_alike(monkeypatch, number, ph, lamps):
    plain, printed = (read_ph(data, PROFILE) for data in both(monkeypatch, shot(number, ph, number % 3, lamps, None)))
    assert printed.status == plain.status
    assert printed.ph == pytest.approx(plain.ph, abs=0.05)
    assert printed.interval == pytest.approx(plain.interval, abs=0.08)


@pytest.mark.parametrize("place", [0, 2, 6])
def test_windows_read_alike(monkeypatch, place):
    name, scene, _ = window_shots()[place]
    pair = both(monkeypatch, scene)
    if name.startswith("tint"):
        plain, printed = (read_tint(data, TintRequest(path_mm=DEPTH_MM)) for data in pair)
        assert (printed.status, printed.decision) == (plain.status, plain.decision)
        assert printed.mg_per_l == pytest.approx(plain.mg_per_l, abs=1.5, rel=0.08)
    else:
        plain, printed = (read_solid(data) for data in pair)
        assert printed.status == plain.status
        assert printed.pale_fraction == pytest.approx(plain.pale_fraction, abs=0.01)
