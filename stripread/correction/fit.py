"""One fit per photo: tone curve, light field, flare and camera colours, from the card's patches, with covariance.

Model, for patch p at place x and channel k:

    tone(v_pk) / light_k(x)  =  sum_j A_kj r_pj + flare_k  (+ error),   rows of A add up to 1

with v the encoded value, r the reference value of the patch relative to paper white. The equation is compared after a
cube root, where one unit is about 116 L* everywhere, so that equal weights mean equally visible errors. It is solved
by Gauss-Newton with priors and with weights that fall for outlying patches (something lies on them). What is left
over is then modelled in CIELAB (``residual``).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.exposure import check_patches
from stripread.colour import rgb_to_lab
from stripread.correction import light, tone
from stripread.correction.dye_field import INK_SHARE, TERMS, basis, dye_field, ink_field
from stripread.correction.dyes import channel_cov, dark_cov, moved_cov
from stripread.correction.residual import ResidualModel, fit_residual
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.patches import PatchSamples
    from stripread.card.values import CardValues

Array = NDArray[np.float64]

_OFF_DIAGONAL = [(k, j) for k in range(3) for j in range(3) if k != j]
_N_TONE, _N_LIGHT = tone.N_TONE, light.N_LIGHT
_LIGHT0 = _N_TONE
_A0 = _LIGHT0 + 3 * _N_LIGHT
_FLARE0 = _A0 + 6
N_PARAMETERS = _FLARE0 + 3
_TUNED = tuned("stripread.correction")
A_PRIOR_SD = _TUNED.number("a_prior_sd")
FLARE_PRIOR_SD = _TUNED.number("flare_prior_sd")
MODEL_SD = _TUNED.number("model_sd")
ITERATIONS = 8
_TINY = 1e-4


@dataclass(frozen=True)
class ColourFix:
    """The way from this photo's encoded values to CIELAB relative to the card, with its covariance.

    theta (32,): tone, light (3 x 6), off-diagonals of A, flare. cov (32, 32): their covariance. matrix (3, 3): inverse
    of A. residual: what the patches still miss, as a model in CIELAB. lab_rms: root mean square residual of the patches
    before that model (Delta E*ab); rms_cv: the same after it, leaving one out. light_rms: the part of it in lightness
    among the neutral patches. weights (N,): how far each patch was trusted, 0 to 1. dyes (10, 3): how dyes are off in
    this photo (``dye_field``); zero where the card's own values are not known well enough to tell.
    """

    theta: Array
    cov: Array
    matrix: Array
    residual: ResidualModel
    lab_rms: float
    rms_cv: float
    light_rms: float
    weights: Array
    monochrome: bool
    dyes: Array

    def mixing(self) -> tuple[Array, Array]:
        """How phone and light mix the card's red, green and blue: off-diagonals of A (6,), covariance (6, 6).

        White is taken out, so it tells of the sensor's bands and the lamp's spectrum and not of the white balance: one
        phone's own signature of a light.
        """
        return self.theta[_A0:_FLARE0], self.cov[_A0:_FLARE0, _A0:_FLARE0]

    def light_at(self, at_mm: Array) -> Array:
        """Relative light at card points (N, 2): shape (N, 3), 1 at the card's centre."""
        coefficients = self.theta[_LIGHT0:_A0].reshape(3, _N_LIGHT)
        return np.asarray(np.exp((light.basis(at_mm) - light.basis(_CENTRE)) @ coefficients.T))

    def to_rgb(self, rgb: Array, at_mm: Array) -> Array:
        """Linear reference RGB (relative to paper white), without the residual model: (N, 3)."""
        return _reference(self.theta, rgb, at_mm)

    def left_over(self, rgb: Array, at_mm: Array, *, dye: bool) -> tuple[Array, Array]:
        """What the fit misses at encoded colours (P, 3): shift (P, 3) in CIELAB to add, its covariance (3P, 3P).

        dye: the colours are a strip's, not a print's.
        """
        reference = self.to_rgb(rgb, at_mm)
        lab = rgb_to_lab(reference)
        shift, cov = self.residual.at(lab)
        cov = cov + channel_cov(reference) + dark_cov(reference, rgb)
        if dye and self.dyes.any():
            moved = basis(lab) @ self.dyes
            shift, cov = INK_SHARE * shift + moved, cov + moved_cov(moved)
        return shift, cov

    def dyes_off(self, rgb: Array, at_mm: Array) -> float:
        """Root mean square shift, CIELAB units, that dyes of these encoded colours (N, 3) are foretold to need."""
        if not self.dyes.any():
            return 0.0
        shift = basis(rgb_to_lab(self.to_rgb(rgb, at_mm))) @ self.dyes
        return float(np.sqrt((shift**2).sum(axis=1).mean()))

    def to_lab(
        self, rgb: Array, at_mm: Array, var: Array, *, dye: bool = True
    ) -> tuple[Array, Array, dict[str, Array]]:
        """CIELAB of encoded colours at card points, all their covariances included.

        Parameters
        ----------
        rgb, at_mm, var
            Encoded means (P, 3) in 0 to 1, their places (P, 2) mm, and the variance (P, 3) of the means.
        dye
            The colours are a strip's, not a print's.

        Returns
        -------
        lab (P, 3), cov (3P, 3P), parts
            ``parts`` are the covariances that add up to ``cov``: noise, tone, light, correction (the mixing and what
            is left over) and cross (what the fit's correlations add to the three, often negative).
        """
        count = len(rgb)
        lab0 = rgb_to_lab(_reference(self.theta, rgb, at_mm))
        step = np.sqrt(np.diag(self.cov)) * 0.3 + 1e-6
        log_light, tones, places = tone.log_light(rgb), tone.basis(rgb), light.basis(at_mm)
        shifted = np.empty((N_PARAMETERS, count, 3))
        for i in range(N_PARAMETERS):
            theta = self.theta.copy()
            theta[i] += step[i]
            inverse = np.linalg.inv(_matrix(theta)) if _A0 <= i < _FLARE0 else self.matrix
            shifted[i] = (np.exp(_log_device(theta, log_light, tones, places)) - theta[_FLARE0:]) @ inverse.T
        shifted = rgb_to_lab(shifted)
        jacobian = ((shifted - lab0) / step[:, None, None]).reshape(N_PARAMETERS, -1).T  # (3P, 32)
        noise = self.noise_cov(rgb, at_mm, var)
        shift, shift_cov = self.left_over(rgb, at_mm, dye=dye)
        parts = {"noise": noise, "correction": shift_cov}
        for name, block in (("tone", _TONE), ("light", _LIGHT), ("correction", _MIX)):
            j = jacobian[:, block]
            part = j @ self.cov[block, block] @ j.T
            parts[name] = parts[name] + part if name in parts else part
        # The three blocks are correlated; their cross terms are kept apart and shared out in the error budget.
        whole = jacobian @ self.cov @ jacobian.T
        parts["cross"] = whole - sum(jacobian[:, b] @ self.cov[b, b] @ jacobian[:, b].T for b in (_TONE, _LIGHT, _MIX))
        return lab0 + shift, noise + shift_cov + whole, parts

    def noise_cov(self, rgb: Array, at_mm: Array, var: Array) -> Array:
        """Variances (P, 3) of encoded values as a covariance in CIELAB (3P, 3P)."""
        count = len(rgb)
        lab0 = rgb_to_lab(_reference(self.theta, rgb, at_mm))
        noise = np.zeros((3 * count, 3 * count))
        for k in range(3):
            moved = rgb.copy()
            moved[:, k] += 0.002
            slope = (rgb_to_lab(_reference(self.theta, moved, at_mm)) - lab0) / 0.002  # (P, 3)
            for p in range(count):
                block = slice(3 * p, 3 * p + 3)
                noise[block, block] += np.outer(slope[p], slope[p]) * var[p, k]
        return noise


_CENTRE = np.array([[74.0, 52.0]])
_TONE, _LIGHT, _MIX = slice(0, _LIGHT0), slice(_LIGHT0, _A0), slice(_A0, N_PARAMETERS)


def _matrix(theta: Array) -> Array:
    A = np.zeros((3, 3))
    for value, (k, j) in zip(theta[_A0:_FLARE0], _OFF_DIAGONAL, strict=True):
        A[k, j] = value
    A[np.arange(3), np.arange(3)] = 1.0 - A.sum(axis=1)
    return A


def _log_device(theta: Array, log_light: Array, tone_basis: Array, light_basis: Array) -> Array:
    field = light_basis @ theta[_LIGHT0:_A0].reshape(3, _N_LIGHT).T
    return log_light + tone_basis @ theta[:_N_TONE] - field


def _device(theta: Array, rgb: Array, at_mm: Array) -> Array:
    return np.asarray(np.exp(_log_device(theta, tone.log_light(rgb), tone.basis(rgb), light.basis(at_mm))))


def _reference(theta: Array, rgb: Array, at_mm: Array) -> Array:
    device = _device(theta, rgb, at_mm) - theta[_FLARE0:]
    return np.asarray(device @ np.linalg.inv(_matrix(theta)).T)


def fix_colour(samples: PatchSamples, values: CardValues) -> ColourFix:
    """Fit the photo's tone curve, light, flare and colours to the card's patches.

    Parameters
    ----------
    samples
        Encoded patch means of this photo.
    values
        Reference values of the same patches, with their doubt.

    Raises
    ------
    Refused
        ``patches_unusable`` if fewer than 12 patches are whole and not clipped.
    """
    good = samples.clean
    check_patches(samples)
    monochrome = _is_monochrome(samples, values, good)
    sd = values.sd.copy()
    if monochrome:  # the colours were not printed: only the neutral steps say anything
        neutral = np.ptp(values.rgb, axis=1) < 0.02
        sd = np.where(neutral, sd, 1.0)
    log_light, tone_basis = tone.log_light(samples.rgb), tone.basis(samples.rgb)
    light_basis = light.basis(samples.centre_mm)
    slope = 2.2 / np.maximum(samples.rgb, 0.02)  # d log light / d v, near enough for a weight
    level = np.cbrt(np.maximum(values.rgb, 0.002))
    noise = (slope * np.sqrt(samples.var) * level / 3.0) ** 2
    variance = noise + sd[:, None] ** 2 + MODEL_SD**2
    prior_sd = np.concatenate(
        [
            tone.PRIOR_SD,
            np.tile(light.PRIOR_SD, 3),
            np.full(6, 0.05 if monochrome else A_PRIOR_SD),
            np.full(3, FLARE_PRIOR_SD),
        ]
    )
    theta = np.zeros(N_PARAMETERS)
    bright = good & (values.rgb.min(axis=1) > 0.5)
    start = bright if bright.any() else good
    theta[_LIGHT0:_A0].reshape(3, _N_LIGHT)[:, 0] = (log_light - np.log(np.maximum(values.rgb, 0.01)))[start].mean(
        axis=0
    )
    prior = theta.copy()
    weight = good.astype(np.float64)
    H = np.eye(N_PARAMETERS)
    error, jacobian = _residuals(theta, values.rgb, log_light, tone_basis, light_basis)
    for _ in range(ITERATIONS):
        w = (weight[:, None] / variance).reshape(-1)
        H = (jacobian * w[:, None]).T @ jacobian + np.diag(prior_sd**-2.0)
        g = jacobian.T @ (w * error.reshape(-1)) + (theta - prior) / prior_sd**2
        step = np.linalg.solve(H, g)
        theta = theta - step
        error, jacobian = _residuals(theta, values.rgb, log_light, tone_basis, light_basis)
        chi = np.sqrt((error**2 / variance).mean(axis=1))
        scale = max(0.7, 1.4826 * float(np.median(chi[good])))
        weight = good / (1.0 + (chi / (2.5 * scale)) ** 4)  # smooth rejection: nothing flips on and off
        if np.abs(step / prior_sd).max() < 1e-4:
            break
    chi2 = float((weight[:, None] * error**2 / variance).sum() / max(1.0, 3 * weight.sum() - 20.0))
    cov = np.asarray(np.linalg.inv(H) * max(1.0, chi2), dtype=np.float64)
    lab = rgb_to_lab(_reference(theta, samples.rgb, samples.centre_mm))
    target = rgb_to_lab(values.rgb)
    trusted = weight > 0.3
    if monochrome:
        trusted &= np.ptp(values.rgb, axis=1) < 0.02
    miss = target - lab
    residual = fit_residual(lab, miss, trusted, monochrome=monochrome)
    neutral = trusted & (np.ptp(values.rgb, axis=1) < 0.02)
    dyes = np.zeros((len(TERMS), 3))
    if not monochrome and values.source != "nominal":
        dyes = dye_field(ink_field(target, miss, 116.0 * values.sd, weight))
    return ColourFix(
        theta=theta,
        cov=cov,
        matrix=np.asarray(np.linalg.inv(_matrix(theta)), dtype=np.float64),
        residual=residual,
        lab_rms=float(np.sqrt((miss[trusted] ** 2).sum(axis=1).mean())),
        rms_cv=residual.rms_cv,
        light_rms=float(np.sqrt((miss[neutral, 0] ** 2).mean())) if neutral.any() else float("nan"),
        weights=weight,
        monochrome=monochrome,
        dyes=dyes,
    )


def _residuals(
    theta: Array, reference: Array, log_light: Array, tone_basis: Array, light_basis: Array
) -> tuple[Array, Array]:
    """Cube-root residuals (N, 3) and their Jacobian (3N, 32)."""
    count = len(reference)
    A = _matrix(theta)
    left = np.exp(np.clip(_log_device(theta, log_light, tone_basis, light_basis) / 3.0, -4.0, 2.0))
    right = np.maximum(reference @ A.T + theta[_FLARE0:], _TINY)
    root = np.cbrt(right)
    slope = 1.0 / (3.0 * root**2)
    J = np.zeros((count, 3, N_PARAMETERS))
    J[:, :, :_N_TONE] = left[:, :, None] * tone_basis / 3.0
    for k in range(3):
        J[:, k, _LIGHT0 + k * _N_LIGHT : _LIGHT0 + (k + 1) * _N_LIGHT] = -left[:, k, None] * light_basis / 3.0
        J[:, k, _FLARE0 + k] = -slope[:, k]
    for i, (k, j) in enumerate(_OFF_DIAGONAL):
        J[:, k, _A0 + i] = -slope[:, k] * (reference[:, j] - reference[:, k])
    return left - root, J.reshape(3 * count, N_PARAMETERS)


def _is_monochrome(samples: PatchSamples, values: CardValues, good: NDArray[np.bool_]) -> bool:
    """Whether the colours came out grey: their encoded channel differences are a small share of what was sent."""
    colourful = good & (np.ptp(values.rgb, axis=1) > 0.1)
    neutral = good & (np.ptp(values.rgb, axis=1) < 0.02)
    if colourful.sum() < 6 or neutral.sum() < 6:
        return False
    from_grey = np.log(np.maximum(samples.rgb, 0.01))
    contrast = from_grey - from_grey.mean(axis=1, keepdims=True)
    # Neutral patches carry the cast of the light; the colours must scatter well beyond it.
    spread = contrast[colourful].std(axis=0).mean()
    sent = np.log(np.maximum(values.rgb[colourful], 0.01)) / 2.2
    sent_spread = (sent - sent.mean(axis=1, keepdims=True)).std(axis=0).mean()
    return bool(spread < 0.2 * sent_spread)
