"""A beard: where it grows, how far its tips stand before the skin, how it looks. Invented."""

from __future__ import annotations

import numpy as np

from bite.geometry.camera import Camera
from bite.geometry.render import Grid, face_normals, render
from bite.geometry.rigid import Array, Rigid
from bite.geometry.teeth import LOWER, UPPER
from demo_bite.scene.assemble import Head
from demo_bite.scene.settings import Beard
from demo_bite.scene.texture import grains

_RISE_MM = 2.0
"""Full height so far behind the hair line."""
_STRAND_MM = np.array([0.45, 2.2, 0.9])
_COLOUR = np.array([0.060, 0.036, 0.022])


def tips_mm(beard: Beard, head: Head, camera_from_head: Rigid, camera: Camera) -> Array:
    """Give how far the tips stand before each vertex of the skin, shape (n,), mm; nothing about bare teeth.

    Parameters
    ----------
    camera_from_head : Rigid, into the frame of the reference camera, which must be ``camera``'s own
    """
    from scipy.spatial import cKDTree

    seen = render(Grid.of(camera), camera_from_head.apply(head.vertices), head.faces)
    faces = np.unique(seen.face[seen.face >= 0])
    enamel = faces[np.isin(head.face_part[faces], (UPPER, LOWER))]
    if not enamel.size:
        return np.zeros(len(head.vertices))
    bare = head.vertices[np.unique(head.faces[enamel])]
    apart = cKDTree(bare[:, :2]).query(head.vertices[:, :2])[0]
    rise = np.clip((apart - beard.bare_mm) / _RISE_MM, 0.0, 1.0)
    return beard.height_mm * rise * _grows(head)


def before_the_skin(tips: Array, head: Head) -> Array:
    """Give the vertices of what a depth sensor meets: rays end anywhere between skin and tips, by strands."""
    rng = np.random.default_rng(head.anatomy.jitter_seed)
    share = rng.random(len(tips))
    by_face = face_normals(head.vertices, head.faces)
    normal = np.zeros_like(head.vertices)
    for k in range(3):
        for axis in range(3):
            normal[:, axis] += np.bincount(head.faces[:, k], by_face[:, axis], len(normal))
    normal /= np.linalg.norm(normal, axis=1)[:, None] + 1e-12
    return head.vertices + (share * tips)[:, None] * normal


def over_skin(colour: Array, at_mm: Array, share: Array, seed: int) -> Array:
    """Give skin's colour with the beard's over it, shape (n, 3), linear RGB.

    Parameters
    ----------
    colour : array, shape (n, 3); at_mm : array, shape (n, 3), head frame
    share : array, shape (n,), the tips' height of the beard's own
    """
    strand = grains(at_mm / _STRAND_MM, seed) + 0.5 * grains(at_mm / (0.5 * _STRAND_MM), seed + 7)
    # sparse at the line where it sets in, dense behind it
    cover = np.clip(share * (1.2 + 0.35 * strand), 0.0, 0.96)[:, None]
    shade = np.clip(1.0 + 0.45 * strand, 0.3, 2.2)[:, None]
    return np.asarray(colour * (1 - cover) + _COLOUR * shade * cover)


def _grows(head: Head) -> Array:
    """Tell how densely a beard grows at each vertex, 0 to 1: chin, jaw, lower cheeks, upper lip."""
    x, y, z = head.vertices.T
    side = np.abs(x)
    # below the nose, rising along the cheeks towards the ears, and none on the neck
    line = 22.0 - 15.0 * np.clip((side - 16.0) / 22.0, 0, 1) + 60.0 * np.clip((side - 44.0) / 26.0, 0, 1)
    above = np.clip((line - y) / 3.0, 0, 1)
    neck = np.clip((y + 56.0 + 0.25 * z) / 8.0, 0, 1)
    skin = (head.vertex_group == 0) & (head.lip < 0.5)
    return np.asarray(above * neck * skin)
