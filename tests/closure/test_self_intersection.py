"""Surfaces that pass through themselves, and those that only come near."""

import numpy as np
import pytest

from fem.closure.measures.skin import self_intersections


def sheet(n=9):
    """A unit square of 2 (n - 1)^2 triangles: points (3, n^2) and triangles."""
    X, Y = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n), indexing="ij")
    k = np.arange(n * n).reshape(n, n)
    a, b, c, d = k[:-1, :-1], k[1:, :-1], k[1:, 1:], k[:-1, 1:]
    triangles = np.hstack([np.array([a, b, c]).reshape(3, -1), np.array([a, c, d]).reshape(3, -1)])
    return np.array([X.ravel(), Y.ravel(), 0 * X.ravel()]), triangles


@pytest.mark.parametrize("height", [0.02, -0.02])
def test_two_triangles(height):
    """A triangle whose corner dips through another one, or stays above it."""
    x = np.array([[0, 0, 0], [2, 0, 0], [0, 2, 0], [0.5, 0.5, -height], [0.6, 0.5, 1], [0.5, 0.6, 1]], float).T
    found = self_intersections(x, np.array([[0, 1, 2], [3, 4, 5]]).T, np.arange(6))
    assert found.shape == (2, int(height > 0))


def test_flat_and_wavy_skin_does_not_cross():
    """Triangles that share corners or lie in one plane only meet."""
    x, triangles = sheet()
    assert self_intersections(x, triangles, np.arange(x.shape[1])).shape[1] == 0
    x[2] = 0.2 * np.sin(9 * x[0]) * np.cos(7 * x[1])
    assert self_intersections(x, triangles, np.arange(x.shape[1])).shape[1] == 0


def test_loop_crosses_itself():
    """A strip bent into a loop whose ends pass through each other, as the path t - sin t crosses itself."""
    x, triangles = sheet(33)
    t = 3 * np.pi * x[0]
    loop = np.array([0.5 * t - 1.2 * np.sin(t), x[1], 1 - np.cos(t)])
    found = self_intersections(loop, triangles, np.arange(x.shape[1]))
    assert found.shape[1] > 0
    assert np.abs(t[triangles[:, found[0]]].mean() - t[triangles[:, found[1]]].mean()) > 0.5  # far apart in the strip


def test_sewn_edges_do_not_cross():
    """Two sheets whose edges are sewn meet there: their corners are the same though their numbers are not."""
    x, triangles = sheet()
    n = x.shape[1]
    folded = np.hstack([x, x * [[-1], [1], [1]]])
    folded[2] = np.abs(folded[0])
    both = np.hstack([triangles, triangles + n])
    same = np.arange(2 * n)
    same[n:][x[0] == 0] = np.flatnonzero(x[0] == 0)
    assert self_intersections(folded, both, same).shape[1] == 0
