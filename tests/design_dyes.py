"""What inks tell about dyes: run ``python -m tests.design_dyes``, which writes ``stripread/correction/dye_modes.csv``.

For made-up printers and dyes, and phones and lamps of which every other card's are measured ones of the choosing half
(``design_spectra``, ``design_phones``), the reader's own colour fit is run on exact patch colours with a little noise:
a card is learned from photos by one phone under many lamps, then read by others. The dyes' errors against what the
learning phone made of them are regressed on the ink field of the same photo, and the regression is cut down to a few
modes (reduced-rank regression: Izenman, J. Multivariate Anal. 5, 1975).
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from calibration.card_estimate import estimate_card
from stripread.card.layout import layout
from stripread.card.patches import PatchSamples
from stripread.colour import rgb_to_lab
from stripread.correction.dye_field import INK_SHARE, TERMS, basis, ink_field
from stripread.correction.fit import fix_colour
from tests.design_phones import Phone, lamp
from tests.design_spectra import INDICATORS, NM, Printer, band, on_paper

Array = NDArray[np.float64]
OUT = Path(__file__).parents[1] / "stripread" / "correction" / "dye_modes.csv"
LEARNED, READ, DYES = 16, 14, 30  # photos a card is learned from, photos read, dyes in each
SAME_PHONE = 0.15  # share of readings by the phone that the card was learned with
PATCH_SD = 0.005  # of the encoded value: print texture, light field, compression
MODES, RIDGE = 8, 0.1
MOST = 15.0  # CIELAB: larger errors count as this
HEAD = """# How a dye's error follows from the inks' errors: modes of the step from the ink field to the dye field.
# Written by python -m tests.design_dyes; terms are those of correction/dye_field.py, units CIELAB. Do not edit.
"""


def dyes(rng: np.random.Generator, count: int = DYES) -> Array:
    """Pads (count, 31): one to four indicators at some pH, bands moved and widened a little, under a thin gloss."""
    out = []
    for _ in range(count):
        ks, ph = np.full(len(NM), rng.uniform(0.004, 0.03)), rng.uniform(0, 14)
        for i in rng.choice(len(INDICATORS), rng.integers(1, 5), replace=False):
            _, pka, acid, base = INDICATORS[i]
            share, strength = 1 / (1 + 10 ** (pka - ph)), 10 ** rng.uniform(-0.6, 0.6)
            acid, base = (peak + rng.normal(0, 8) if peak else 0.0 for peak in (acid, base))
            ks = ks + strength * 0.6 * (1 - share) * band(acid, rng.uniform(1500, 2600))
            ks = ks + strength * share * band(base, rng.uniform(1200, 2200))
        out.append(0.99 * on_paper(ks) + rng.uniform(0, 0.02))
    return np.array(out)


def one_card(seed: int) -> list[tuple[Array, ...]]:
    """One printer and learning phone: for each photo read its ink field (10, 3), the dyes' CIELAB (D, 3), their errors
    (D, 3), which of them the phone's gamut cut off (D,), and the shift of an ink of that colour (D, 3)."""
    rng, measured = np.random.default_rng([seed, 5]), seed % 2 == 1
    patches = layout().patches
    printer = Printer.made_up(rng, managed=bool(rng.random() < 0.3))
    print_out = printer.printed(np.array([p.srgb for p in patches]) / 255.0)
    white = print_out[[p.role == "white" for p in patches]].mean()
    seen = np.vstack([print_out, dyes(rng)])
    centre = np.array([[p.rect_mm[0] + p.rect_mm[2] / 2, p.rect_mm[1] + p.rect_mm[3] / 2] for p in patches])
    at = np.tile([[60.0, 40.0]], (DYES, 1))

    def photo(phone: Phone) -> tuple[PatchSamples, Array]:
        v = phone.photo(seen, lamp(rng, measured=measured), 0.9 * rng.uniform(0.75, 0.98) / white, rng)
        card, pads = v[: len(patches)], v[len(patches) :]
        dark = (card <= 1.5 / 255).astype(float)
        card = np.clip(card + PATCH_SD * rng.normal(size=card.shape), 0.002, 1.0)
        return (
            PatchSamples(
                card,
                np.full(card.shape, 0.3 * PATCH_SD**2),
                dark,
                np.zeros(len(card)),
                np.ones(len(card), bool),
                centre,
            ),
            pads,
        )

    learner = Phone.drawn(rng, measured=measured)
    learned = [photo(learner) for _ in range(LEARNED)]
    card = estimate_card([samples for samples, _ in learned])
    known = [rgb_to_lab(fix_colour(samples, card).to_rgb(pads, at)) for samples, pads in learned]
    truth, values = np.median(known, axis=0), rgb_to_lab(card.rgb)
    out = []
    for _ in range(READ):
        samples, pads = photo(learner if rng.random() < SAME_PHONE else Phone.drawn(rng, measured=measured))
        fix = fix_colour(samples, card)
        lab, inks = rgb_to_lab(fix.to_rgb(pads, at)), rgb_to_lab(fix.to_rgb(samples.rgb, centre))
        field = ink_field(values, values - inks, 116.0 * card.sd, fix.weights)
        out.append((field, lab, truth - lab, (pads < 0.03).any(axis=1), fix.residual.at(lab)[0]))
    return out


def reduced(fields: Array, lab: Array, error: Array, cut: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Regress errors (n, D, 3) on fields (n, 10, 3): what picks the modes out, and their dye fields (M, 10, 3)."""
    flat = fields.reshape(len(fields), -1)
    scale = flat.std(axis=0)
    flat, terms, keep = flat / scale, basis(lab), ~cut
    size = np.sqrt((terms[keep] ** 2).mean(axis=0))
    terms = terms / size
    rows = (flat[:, None, :, None] * terms[:, :, None, :]).reshape(*terms.shape[:2], -1)[keep]
    normal = rows.T @ rows + RIDGE * len(rows) * np.eye(rows.shape[1])
    whole = np.linalg.solve(normal, rows.T @ np.clip(error, -MOST, MOST)[keep]).reshape(flat.shape[1], len(TERMS), 3)
    # Low rank in the metric of what is seen: ink fields by their covariance, dye fields by the dyes' colours
    values, vectors = np.linalg.eigh(np.cov(flat.T))
    spread = np.sqrt(np.maximum(values, 1e-6))
    root, inverse = (vectors * spread) @ vectors.T, (vectors / spread) @ vectors.T
    metric = np.linalg.cholesky(terms[keep].T @ terms[keep] / keep.sum())
    seen = np.einsum("fg,gtc,ts->fsc", root, whole, metric)
    left, sizes, right = np.linalg.svd(seen.reshape(len(seen), -1))
    from_ink = (inverse @ left[:, :MODES]).T / scale
    to_dye = (sizes[:MODES, None] * right[:MODES]).reshape(MODES, len(TERMS), 3)
    to_dye = np.einsum("msc,st->mtc", to_dye, np.linalg.inv(metric)) / size[None, :, None]
    return from_ink.reshape(MODES, len(TERMS), 3), to_dye


def write(from_ink: Array, to_dye: Array) -> None:
    """Write the modes as a table."""
    lines = ["mode,part,term,L,a,b"]
    for name, table in (("ink", from_ink), ("dye", to_dye)):
        for m, fields in enumerate(table):
            lines += [f"{m},{name},{t},{v[0]:.5g},{v[1]:.5g},{v[2]:.5g}" for t, v in zip(TERMS, fields, strict=True)]
    OUT.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Draw, regress, tell how much is explained on cards that were left out, write."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--cards", type=int, default=600)
    ask.add_argument("--keep", type=Path, help="write what was drawn to this .npz")
    given = ask.parse_args()
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        drawn = pool.map(one_card, range(given.cards), chunksize=5)
        rows = [row for card in tqdm(drawn, total=given.cards, file=sys.stderr) for row in card]
    fields, lab, error, cut, ink = (np.array(part) for part in zip(*rows, strict=True))
    if given.keep:
        np.savez(given.keep, fields=fields, lab=lab, error=error, cut=cut, ink=ink)
    error = error - INK_SHARE * ink
    half = len(fields) // READ // 2 * READ
    from_ink, to_dye = reduced(fields[:half], lab[:half], error[:half], cut[:half])
    shift = np.einsum("mtc,muv,ntc,ndu->ndv", from_ink, to_dye, fields[half:], basis(lab[half:]))
    kept = ~cut[half:]
    before = np.clip(error[half:], -MOST, MOST)
    after = before - shift
    print(
        "root mean square error of dyes, L a b (after the inks' shift):",
        np.sqrt((before[kept] ** 2).mean(axis=0)).round(2),
    )
    print("after the shift, cards left out:", np.sqrt((after[kept] ** 2).mean(axis=0)).round(2))
    # INK_SHARE is right when nothing is left to explain by the inks' own shift
    shares = INK_SHARE + (after * ink[half:])[kept].sum(axis=0) / (ink[half:][kept] ** 2).sum(axis=0)
    print("share of the inks' own shift that dyes need beside it:", shares.round(2))
    write(*reduced(fields, lab, error, cut))


if __name__ == "__main__":
    main()
