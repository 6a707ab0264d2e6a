"""Similarity between point sets against its paper's own example."""

from __future__ import annotations

import numpy as np
import pytest

from bite.geometry.rigid import align, rotation_from_vector


@pytest.fixture
def paper(reference):
    return reference("umeyama_1991")


def test_with_scale(paper) -> None:
    found = align(paper.array("source_points"), paper.array("target_points"), with_scale=True)
    np.testing.assert_allclose(found.rotation, paper.array("rotation_printed"), atol=5e-4)
    np.testing.assert_allclose(found.rotation, paper.array("rotation"), rtol=0, atol=1e-9)
    assert found.scale == pytest.approx(paper.value("scale_printed"), abs=5e-4)
    assert found.scale == pytest.approx(paper.value("scale"), abs=1e-9)
    np.testing.assert_allclose(found.translation, paper.array("translation"), rtol=0, atol=1e-9)
    # the paper's error is the sum of squares over n points; it equals 8/15 only when divided as there
    assert found.rms**2 == pytest.approx(paper.value("mean_squared_error"), abs=1e-9)


def test_never_a_reflection(paper) -> None:
    found = align(paper.array("source_points"), paper.array("target_points"), with_scale=True)
    assert np.linalg.det(found.rotation) == pytest.approx(1.0, abs=1e-12)


def test_scale_held_at_one(paper) -> None:
    found = align(paper.array("source_points"), paper.array("target_points"))
    np.testing.assert_allclose(found.translation, paper.array("rigid_translation"), rtol=0, atol=5e-7)


def test_rotations(reference) -> None:
    table = reference("rodrigues")
    third = rotation_from_vector(np.full(3, np.deg2rad(120) / np.sqrt(3)))
    np.testing.assert_allclose(third, table.array("cyclic"), rtol=0, atol=1e-14)
    small = rotation_from_vector(table.array("small_vector"))
    np.testing.assert_allclose(small, table.array("small"), rtol=0, atol=5.1e-7)
