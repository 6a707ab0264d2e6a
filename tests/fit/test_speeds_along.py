"""How fast points move along directions of their own: the products of their speeds with these."""

from __future__ import annotations

import numpy as np
import pytest

from bite.fit.causes import directed
from bite.fit.head import Head
from bite.fit.parameters import COUNT, HEAD_SHIFT, HEAD_TURN
from bite.geometry.rigid import crossed, rotation_from_vector

RNG = np.random.default_rng(5)


def head() -> Head:
    axes = rotation_from_vector(np.array([0.2, -0.3, 0.1]))
    corners = {"11m": np.array([1.0, 2.0, 301.0]), "41m": np.array([1.5, 9.0, 303.0])}
    return Head(
        np.zeros((3, 3)), np.zeros((1, 3), np.int32), np.zeros(1, np.int8), np.zeros(3, bool),
        -axes[:, 2], axes[:, 0], -axes[:, 1], np.array([3.0, 5.0, 300.0]), corners, {},
    )  # fmt: skip


@pytest.mark.parametrize("model", [head(), directed(head())], ids=["fit", "causes"])
def test_it_is_the_product_with_the_speeds(model: Head) -> None:
    parameters = np.zeros(COUNT)
    parameters[HEAD_SHIFT], parameters[HEAD_TURN] = [1.0, -2.0, 0.5], [0.1, 0.3, -0.2]
    placed = RNG.normal([3.0, 5.0, 300.0], 15.0, (40, 3))
    normals, with_teeth = RNG.normal(size=(40, 3)), RNG.random(40) < 0.5
    found = model.along(normals.T, placed.T, with_teeth, parameters)
    expected = np.einsum("ni,kni->kn", normals, model.speeds(placed, with_teeth, parameters))
    assert (np.abs(expected).max(1) > 0.1).sum() >= 5
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-11)


def test_cross_products_in_columns_are_those_of_numpy() -> None:
    first, second = RNG.normal(size=(2, 30, 3))
    np.testing.assert_allclose(crossed(first.T, second.T).T, np.cross(first, second), rtol=0, atol=1e-14)
