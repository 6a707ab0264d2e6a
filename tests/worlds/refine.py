"""Quads refined to a smooth surface, as a matrix that gives the fine vertices from the coarse ones.

Source: Catmull & Clark 1978, Recursively generated B-spline surfaces on arbitrary topological meshes (from
memory). Being linear, one matrix serves every shape and expression of a head.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags, eye, vstack

Ints = NDArray[np.int64]


def refined(quads: Ints, count: int, times: int) -> tuple[csr_matrix, Ints]:
    """Refine quads; vertex i of the coarse mesh stays vertex i.

    Parameters
    ----------
    quads : array, shape (n, 4)
    count : int
        Number of vertices, all of them used.
    times : int
        Each time, a quad becomes four.

    Returns
    -------
    matrix : sparse, shape (fine vertices, count)
    quads : array, shape (n * 4 ** times, 4)
    """
    matrix = csr_matrix(eye(count))
    for _ in range(times):
        step, quads = _once(quads, matrix.shape[0])
        matrix = csr_matrix(step @ matrix)
    return matrix, quads


def triangles(quads: Ints) -> Ints:
    """Cut each quad in two."""
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def _once(quads: Ints, count: int) -> tuple[csr_matrix, Ints]:
    faces = len(quads)
    sides = np.concatenate([quads[:, [i, (i + 1) % 4]] for i in range(4)])
    edges, of_side, uses = np.unique(np.sort(sides, axis=1), axis=0, return_inverse=True, return_counts=True)
    of_side = of_side.ravel()
    n_edges = len(edges)
    face_point = _matrix(
        np.repeat(np.arange(faces), 4), quads.ravel(), np.full(4 * faces, 0.25), (faces, count)
    )
    middle = _matrix(
        np.repeat(np.arange(n_edges), 2), edges.ravel(), np.full(2 * n_edges, 0.5), (n_edges, count)
    )
    side_face = np.tile(np.arange(faces), 4)
    faces_of_edge = _matrix(of_side, side_face, np.ones(len(sides)), (n_edges, faces))
    inner = (uses == 2).astype(float)
    edge_point = diags(1.0 - inner) @ middle + diags(inner) @ (
        0.5 * middle + 0.25 * faces_of_edge @ face_point
    )

    around = _matrix(quads.ravel(), np.repeat(np.arange(faces), 4), np.ones(4 * faces), (count, faces))
    touching = _matrix(
        edges.ravel(), np.repeat(np.arange(n_edges), 2), np.ones(2 * n_edges), (count, n_edges)
    )
    valence = np.asarray(around.sum(1)).ravel()
    n = np.maximum(valence, 1.0)
    rim = np.zeros(count, dtype=bool)
    rim[edges[uses != 2].ravel()] = True
    free = (~rim).astype(float)
    inside = (
        diags(free / n**2) @ around @ face_point
        + diags(2.0 * free / n**2) @ touching @ middle
        + diags(free * (n - 3.0) / n) @ eye(count)
    )
    outer = touching @ diags(1.0 - inner)
    on_rim = diags((1.0 - free) * 0.25) @ outer @ middle + diags((1.0 - free) * 0.5) @ eye(count)
    matrix = csr_matrix(vstack([inside + on_rim, edge_point, face_point]))

    corner = [of_side[i * faces : (i + 1) * faces] + count for i in range(4)]
    centre = np.arange(faces) + count + n_edges
    fine = [np.stack([quads[:, i], corner[i], centre, corner[i - 1]], axis=1) for i in range(4)]
    return matrix, np.concatenate(fine)


def _matrix(rows: Ints, columns: Ints, values: NDArray[np.float64], shape: tuple[int, int]) -> csr_matrix:
    return csr_matrix((values, (rows, columns)), shape=shape)
