"""A triangle mesh as a file gave it: order of vertices kept, names of its pieces kept, nothing merged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bite.geometry.rigid import Array


@dataclass(frozen=True, slots=True)
class Mesh:
    """Vertices and triangles in the file's own order.

    Parameters
    ----------
    vertices_mm : array, shape (n, 3), mm, in the file's own axes
    faces : array, shape (m, 3), vertex numbers from 0
    groups : mapping from name to face numbers
        Every object, group, material-use or node name of the file. A face may be in several.
    ordered : bool
        Whether vertex numbers mean anything: false for formats without shared vertices (STL).
    z_up : bool
        The file itself says that its z axis points up.
    """

    vertices_mm: Array
    faces: NDArray[np.int32]
    groups: Mapping[str, NDArray[np.int64]]
    ordered: bool = True
    z_up: bool = False
