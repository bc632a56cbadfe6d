"""Photos of labels read: how many in a hundred name their vessel, by how small the label is in the frame.

``python -m tests.labels.photo_study --photos 300``: labels of a sheet as it is printed, rendered as photos of 5 to 12
megapixels (``tests/labels/photos.py``): 18 to 60 % of the frame's width, tilted up to 40°, turned anyhow, blurred by
0.5 to 2.5 px, JPEG. A code that says another vessel than the label's is counted apart.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from service.readers.labels.codes import codes_in
from service.report.labels.address import vessel_address
from tests.labels.photos import as_jpeg, drawn_view, label_of, photo_of
from tests.labels.test_sheet import LOG, ROOT, sheet_page

BANDS = ((0.18, 0.25), (0.25, 0.4), (0.4, 0.6))


def study(photos: int, seed: int) -> dict[tuple[float, float], list[int]]:
    """By the label's share of the frame: photos, read, read as another."""
    random = np.random.default_rng(seed)
    page = sheet_page()
    label = label_of(page, 0, 0)
    wanted = vessel_address(ROOT, 7, LOG, "main")
    counts = {band: [0, 0, 0] for band in BANDS}
    for _unused in range(photos):
        view = drawn_view(random)
        band = next(one for one in BANDS if view.share <= one[1])
        codes = [code["text"] for code in codes_in(as_jpeg(photo_of(label, view)))]
        counts[band][0] += 1
        counts[band][1] += codes == [wanted]
        counts[band][2] += bool(codes) and codes != [wanted]
    return counts


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    began = time.process_time()
    print("| label's share of the frame's width | photos | read | read as another |\n|---|---|---|---|")
    for (low, high), (many, read, wrong) in study(given.photos, given.seed).items():
        print(f"| {low:.0%} to {high:.0%} | {many} | {read} ({read / max(1, many):.1%}) | {wrong} |")
    print(f"\n{given.photos} photos, {time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    main()
