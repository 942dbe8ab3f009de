"""The joint fit's derivative, taken part by part, beside SciPy's of all residuals at once."""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import approx_fprime

from tests.vision.test_plane import FOCAL_PX, SIZE, camera, ruler, seen
from vision.adjustment import Adjustment
from vision.estimate import Estimate
from vision.parallel import Stripes
from vision.plane import fit_plane


def test_each_parameter_moves_what_scipy_says_it_moves() -> None:
    """With two rulers and a print of two kinds of lines, the derivative of every residual by every parameter, and the
    normal equations made of it, are those of SciPy's plain differences of all residuals."""
    photo = camera(5.0, 20.0, 6.0)
    rulers = [ruler(photo, length_mm=60, seed=1), ruler(photo, length_mm=40, place_mm=(-80.0, -200.0), seed=2)]
    focal = Estimate(FOCAL_PX, 0.1 * FOCAL_PX)
    begin = fit_plane(rulers, size_px=SIZE, focal_px=focal).params
    order, place = (each.ravel() for each in np.meshgrid(np.arange(-3.0, 4.0), np.linspace(-150, 150, 9)))
    family = np.arange(order.size) % 2
    mm = np.stack([40 * order + 12 * family, place + 5 * np.sin(order)], axis=1)
    print_ = Stripes(
        points_px=seen(photo, mm),
        order=order,
        family=family,
        sigma_px=np.full(order.size, 0.2),
        half_mm=150.0,
        uneven_mm=0.05,
        bow_mm=2.0,
    )
    problem = Adjustment(rulers, SIZE, focal, [print_], begin=begin, behind_mm=1.0)
    params = problem._from(np.array([*begin[:4], 0.01]))
    steps = 1e-7 * np.maximum(1.0, np.abs(params))
    theirs = approx_fprime(params, lambda p: problem._residual(p.copy())[0], steps)
    ours = problem._numeric(params)
    size = np.abs(theirs).max(axis=0)
    assert np.allclose(ours / size, theirs / size, atol=1e-6)
    residual, prior = problem._residual(params)
    weight = np.where(prior | (np.abs(residual) <= 1.345), 1.0, 1.345 / np.maximum(np.abs(residual), 1e-12))
    normal, pull = problem._normal(params)
    assert np.allclose(normal / np.outer(size, size), (theirs * weight[:, None]).T @ theirs / np.outer(size, size))
    assert np.allclose(pull / size, theirs.T @ (weight * residual) / size, atol=math.sqrt(len(residual)) * 1e-4)
