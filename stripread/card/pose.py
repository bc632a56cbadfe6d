"""Where the card lies in the photo: which markers agree on one card, the fitted map both ways, and what is cut off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.camera import Frame, derivatives, fit_card, homography, project, tilt_deg
from stripread.errors import Refused
from stripread.reasons import because
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.card.layout import CardLayout
    from stripread.card.markers import Sighting
    from stripread.photo import Photo

Array = NDArray[np.float64]

MIN_MARKERS = 3
MIN_PX_PER_MM = 1.3  # a marker's cell is then 3 px, a 6 mm pad 8 px
_TUNED = tuned("stripread.card")
MAX_OUTSIDE_SHARE = _TUNED.number("max_outside_share")
BLURRED_SHARE = _TUNED.number("blurred_share")
MODEL_SD_PX = _TUNED.number("model_sd_px")
# How far a marker may lie from where another puts the card: a share of the way between them, plus a share of its side.
# First from one marker alone, which knows the tilt only roughly; then from all that agreed.
ROUNDS = ((0.25, 0.5), (0.06, 0.35))


@dataclass(frozen=True)
class CardPose:
    """The fitted pose.

    parameters (12,) of ``camera``; ids: markers used; px_per_mm (working pixels) and tilt_deg
    at the card's centre; edge_px (M, 4): edge widths of the markers' sides, working px.
    """

    parameters: Array
    frame: Frame
    photo: Photo
    ids: tuple[int, ...]
    px_per_mm: float
    tilt_deg: float
    edge_px: Array

    def to_px(self, points_mm: Array) -> Array:
        """Card points (N, 2) mm to working pixels (N, 2)."""
        return project(self.parameters, np.asarray(points_mm, dtype=np.float64), self.frame)

    def to_full_px(self, points_mm: Array) -> Array:
        """Card points (N, 2) mm to pixels of the full-size upright photo (N, 2)."""
        return self.photo.to_full(self.to_px(points_mm))

    def to_mm(self, points_px: Array) -> Array:
        """Working pixels (N, 2) to card points (N, 2) mm, by Newton's method from the flat card's answer."""
        target = np.asarray(points_px, dtype=np.float64)
        homogeneous = np.column_stack([self.frame.px_to_unit(target), np.ones(len(target))])
        homogeneous = homogeneous @ np.linalg.inv(homography(self.parameters)).T
        points = self.frame.unit_to_mm(homogeneous[:, :2] / homogeneous[:, 2:])
        for _unused in range(6):
            pixels, _, jacobian = derivatives(self.parameters, points, self.frame)
            points = points + np.linalg.solve(jacobian, (target - pixels)[..., None])[..., 0]
        return points

    def jacobian(self, points_mm: Array) -> Array:
        """Working pixels per millimetre at card points (N, 2): (N, 2, 2), rows px x and y, columns mm x and y."""
        return derivatives(self.parameters, np.asarray(points_mm, dtype=np.float64), self.frame)[2]


def solve_pose(sightings: tuple[Sighting, ...], layout: CardLayout, photo: Photo) -> CardPose:
    """Fit the pose to the markers' corners.

    Raises
    ------
    Refused
        ``no_card`` without a marker, ``blurred`` when blur hides most of them, ``card_cut_off`` when too few agree or
        too much of the card is outside, ``too_small`` when the card covers too few pixels.
    """
    height, width = photo.pixels.shape[:2]
    frame = Frame(layout.size_mm, ((width - 1) / 2, (height - 1) / 2), max(width, height) / 2)
    used, start = _agreeing(sightings, layout, frame)
    if start is None:
        raise Refused(because("no_card"))
    if len(used) < MIN_MARKERS:
        if _looks_blurred(used):
            raise Refused(because("blurred"))
        raise Refused(
            because(
                "card_cut_off",
                _("{n_used} of {n_markers} marks can be seen", n_used=len(used), n_markers=len(layout.markers)),
            )
        )
    on_card, in_photo = _corners(used, layout)
    sd = np.repeat([float(np.hypot(s.sd_px, MODEL_SD_PX)) for s in used], 4)
    fit = fit_card(on_card, in_photo, sd, frame, start)
    if not fit.finite:
        raise Refused(because("no_card"))
    _unused, _unused, slope = derivatives(
        fit.parameters, np.array([[layout.size_mm[0] / 2, layout.size_mm[1] / 2]]), frame
    )
    pose = CardPose(
        parameters=fit.parameters,
        frame=frame,
        photo=photo,
        ids=tuple(s.id for s in used),
        px_per_mm=float(np.sqrt(abs(np.linalg.det(slope[0])))),
        tilt_deg=tilt_deg(homography(fit.parameters)),
        edge_px=np.stack([s.edge_px for s in used]),
    )
    if pose.px_per_mm < MIN_PX_PER_MM:
        raise Refused(
            because(
                "too_small",
                _(
                    "{px_per_mm:.1f} pixels per mm, at least {min_px_per_mm} needed",
                    px_per_mm=pose.px_per_mm,
                    min_px_per_mm=MIN_PX_PER_MM,
                ),
            )
        )
    _check_inside(pose, layout)
    return pose


def _looks_blurred(sightings: list[Sighting]) -> bool:
    """Whether the edges of the markers that were found are a tenth of a marker wide: the others were lost to blur."""
    side = np.mean([np.linalg.norm(s.corners - np.roll(s.corners, 1, axis=0), axis=1).mean() for s in sightings])
    width = np.concatenate([s.edge_px for s in sightings])
    width = width[np.isfinite(width)]
    return bool(width.size and width.max() > BLURRED_SHARE * side) or not width.size


def _corners(sightings: list[Sighting], layout: CardLayout) -> tuple[Array, Array]:
    """Corners on the card (mm) and in the photo (working px), each (4 M, 2)."""
    table = {m.id: np.array(m.corners_mm) for m in layout.markers}
    return np.concatenate([table[s.id] for s in sightings]), np.concatenate([s.corners for s in sightings])


def _agreeing(sightings: tuple[Sighting, ...], layout: CardLayout, frame: Frame) -> tuple[list[Sighting], Array | None]:
    """The largest set of markers that one flat card explains, each id once, and that card's homography in units.

    Every sighting proposes a card from its own four corners: wrong ids, a second card and mirrored marks fall out.
    """
    best: list[Sighting] = []
    best_matrix: Array | None = None
    for seed in sightings:
        chosen, matrix = [seed], None
        for tolerance in ROUNDS:
            matrix = _homography(chosen, layout, frame)
            chosen = [] if matrix is None else _near(sightings, layout, matrix, frame, seed, tolerance=tolerance)
            if not chosen:
                break
        if len(chosen) > len(best):
            best, best_matrix = chosen, _homography(chosen, layout, frame)
        if len(best) == len(layout.markers):
            break
    return best, best_matrix


def _homography(sightings: list[Sighting], layout: CardLayout, frame: Frame) -> Array | None:
    """Flat card through all corners, units; None when degenerate or when the card would be seen from behind."""
    on_card, in_photo = _corners(sightings, layout)
    found, _ = cv2.findHomography(frame.mm_to_unit(on_card), frame.px_to_unit(in_photo))
    if found is None:
        return None
    matrix = np.asarray(found, dtype=np.float64)
    centre = frame.mm_to_unit(on_card.mean(axis=0))
    depth = float(matrix[2] @ np.append(centre, 1.0))
    # A homography's Jacobian has the sign of det(H) / w^3: negative means mirrored.
    if abs(matrix[2, 2]) < 1e-9 or np.linalg.det(matrix) * depth <= 0:
        return None
    return matrix


def _near(
    sightings: tuple[Sighting, ...],
    layout: CardLayout,
    matrix: Array,
    frame: Frame,
    seed: Sighting,
    *,
    tolerance: tuple[float, float],
) -> list[Sighting]:
    """Of each id the sighting nearest to where ``matrix`` puts it, if it is near enough (see ``ROUNDS``)."""
    table = {m.id: np.array(m.corners_mm) for m in layout.markers}
    best: dict[int, tuple[float, Sighting]] = {}
    home = seed.corners.mean(axis=0)
    for s in sightings:
        unit = np.column_stack([frame.mm_to_unit(table[s.id]), np.ones(4)]) @ matrix.T
        if unit[:, 2].min() * unit[:, 2].max() <= 0:  # on the horizon
            continue
        error = float(np.linalg.norm(frame.unit_to_px(unit[:, :2] / unit[:, 2:]) - s.corners, axis=1).max())
        side = float(np.linalg.norm(s.corners - np.roll(s.corners, 1, axis=0), axis=1).mean())
        allowed = tolerance[0] * float(np.linalg.norm(s.corners.mean(axis=0) - home)) + tolerance[1] * side
        if error < allowed and (s.id not in best or error < best[s.id][0]):
            best[s.id] = (error, s)
    return [s for _, s in best.values()]


def _check_inside(pose: CardPose, layout: CardLayout) -> None:
    """Refuse a card of which the lane, or more than one corner, is outside the picture."""
    w, h = layout.size_mm
    grid = np.stack(np.meshgrid(np.linspace(0, w, 38), np.linspace(0, h, 27)), axis=-1).reshape(-1, 2)
    outside = 1.0 - _within(pose, grid).mean()
    x, y, lane_w, lane_h = layout.lane_mm
    lane = np.array([[x, y], [x + lane_w, y], [x + lane_w, y + lane_h], [x, y + lane_h]])
    if not _within(pose, lane).all():
        raise Refused(because("card_cut_off", _("the strip's lane leaves the picture")))
    if outside > MAX_OUTSIDE_SHARE:
        raise Refused(because("card_cut_off", _("{outside:.0f} % of it is outside", outside=100 * outside)))


def _within(pose: CardPose, points_mm: Array) -> NDArray[np.bool_]:
    height, width = pose.photo.pixels.shape[:2]
    points = pose.to_px(points_mm)
    return np.asarray(((points >= 0) & (points <= np.array([width - 1, height - 1]))).all(axis=1))
