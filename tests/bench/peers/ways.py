"""Other ways to an offset, each in a page: differences, two alignments, a pose from corners, least squares.

Every way gives (offset, sd) in mm, forward positive; sd NaN where the way states none.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from bite.files.bundle import BiteFrame
from tests.bench.peers.given import LOWER, UPPER, Given
from tests.worlds.rays import hit_faces

Array = NDArray[np.float64]
Answer = tuple[float, float]
ROUNDS = 3
"""An alignment is repeated from where it ended, since it looks for partners anew."""
NAN = float("nan")


def mean_difference(frame: BiteFrame, seen: Given) -> Answer:
    """Take how much deeper than solved the teeth read, less how much deeper the skin does."""
    off = float(np.median(seen.teeth_off_mm) - np.median(seen.skin_off_mm))
    return off / float(seen.forward[2]), NAN


def _forward_of(seen: Given, solved_from_measured: Array) -> float:
    """Give how far forward the measured teeth stand of the solved ones, at the middle of the incisors."""
    centre = seen.centre_mm
    moved = solved_from_measured[:3, :3] @ centre + solved_from_measured[:3, 3]
    return float(-(moved - centre) @ seen.forward)


def _gicp(target: Array, source: Array, start: Array, reach_mm: float) -> Array:
    import small_gicp

    found = small_gicp.align(
        target,
        source,
        init_T_target_source=start,
        registration_type="PLANE_ICP",
        downsampling_resolution=0.4,
        max_correspondence_distance=reach_mm,
        max_iterations=50,
    )
    return np.asarray(found.T_target_source)


def icp_small_gicp(frame: BiteFrame, seen: Given) -> Answer:
    """Align the measured skin to the solved one, point to plane, then what it carries of teeth to teeth."""
    by_skin = np.eye(4)
    for _ in range(ROUNDS):
        by_skin = _gicp(seen.skin_seen_mm, seen.skin_mm, by_skin, 3.0)
    teeth = seen.teeth_mm @ by_skin[:3, :3].T + by_skin[:3, 3]
    by_teeth = np.eye(4)
    for _ in range(ROUNDS):
        by_teeth = _gicp(seen.teeth_seen_mm, teeth, by_teeth, 5.0)
    return _forward_of(seen, by_teeth), NAN


def icp_open3d(frame: BiteFrame, seen: Given) -> Answer:
    """Do the same with another library, partners being looked for ever nearer."""
    import open3d as o3d

    registration = o3d.pipelines.registration

    def cloud(points: Array) -> o3d.geometry.PointCloud:
        made = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
        made.estimate_normals(o3d.geometry.KDTreeSearchParamHybrid(radius=2.0, max_nn=30))
        return made

    def aligned(target_mm: Array, source_mm: Array) -> Array:
        target, source, pose = cloud(target_mm), cloud(source_mm), np.eye(4)
        way = registration.TransformationEstimationPointToPlane()
        stop = registration.ICPConvergenceCriteria(max_iteration=50)
        for reach_mm in (5.0, 3.0, 1.5):
            found = registration.registration_icp(source, target, reach_mm, pose, way, stop)
            pose = np.asarray(found.transformation)
        return pose

    by_skin = aligned(seen.skin_seen_mm, seen.skin_mm)
    teeth = seen.teeth_mm @ by_skin[:3, :3].T + by_skin[:3, 3]
    return _forward_of(seen, aligned(seen.teeth_seen_mm, teeth)), NAN


def corners_pnp(frame: BiteFrame, seen: Given) -> Answer:
    """Find the pose of the solved corners that the clicks show, by OpenCV's Perspective-n-Point."""
    import cv2

    codes = sorted(seen.corners)
    if len(codes) < 4:
        raise ValueError(f"{len(codes)} corners clicked, needed 4")
    camera = frame.views[0].camera
    solved = np.array([seen.corners[c][0] for c in codes])
    pixels = np.array([seen.corners[c][1] for c in codes])
    middle = solved.mean(0)
    ok, _, place = cv2.solvePnP(
        solved - middle,
        pixels,
        camera.matrix,
        camera.distortion,
        np.zeros((3, 1)),
        middle[:, None].copy(),
        useExtrinsicGuess=True,
        flags=cv2.SOLVEPNP_ITERATIVE,
    )
    if not ok:
        raise ValueError("no pose found")
    return float((place[:, 0] - middle) @ seen.forward), NAN


def least_squares(frame: BiteFrame, seen: Given) -> Answer:
    """Fit head and teeth to the map by rendering at pixel centres: SciPy, soft L1, no sensor's filter."""
    from scipy.optimize import least_squares as solve

    # skin is smooth: every fourth pixel of it says as much in a quarter of the time
    skin_px, skin_mm = seen.skin_px[::4], seen.skin_mm[::4]
    pixels = np.concatenate([skin_px, seen.teeth_px])
    measured = np.concatenate([skin_mm[:, 2], seen.teeth_mm[:, 2]])
    teeth = np.repeat([False, True], [len(skin_px), len(seen.teeth_px)])

    def off(unknowns: Array) -> Array:
        from scipy.spatial.transform import Rotation

        shifted = seen.points_mm + np.outer(
            seen.moves, unknowns[6] * seen.forward + unknowns[7] * seen.right + unknowns[8] * seen.up
        )
        arm = (shifted - seen.centre_mm) @ Rotation.from_rotvec(unknowns[3:6]).as_matrix().T
        face, depth = hit_faces(seen.camera, pixels, arm + seen.centre_mm + unknowns[:3], seen.faces)
        part = np.where(face >= 0, seen.face_part[face], -1)
        same = ((part == UPPER) | (part == LOWER)) == teeth
        return np.where(same & np.isfinite(depth), np.nan_to_num(measured - depth), 0.0) / 0.4

    steps = np.array([0.2] * 3 + [0.004] * 3 + [0.2] * 3)  # mm and rad that move pixels alike

    def slopes(unknowns: Array) -> Array:
        sides = [off((unknowns + sign * e) * steps) for e in 0.5 * np.eye(9) for sign in (1.0, -1.0)]
        return np.stack([ahead - back for ahead, back in zip(sides[::2], sides[1::2], strict=True)], axis=1)

    found = solve(lambda u: off(u * steps), np.zeros(9), slopes, loss="soft_l1", max_nfev=12)
    spread = float(np.median(np.abs(found.fun)) * 1.4826) ** 2
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * spread
    return float(found.x[6] * steps[6]), float(np.sqrt(covariance[6, 6]) * steps[6])


def ours(frame: BiteFrame, seen: Given) -> Answer:
    """Run the program."""
    from bite.check.steps import check_frame

    found = check_frame(frame)
    if found.fit is None:
        raise ValueError(found.why_no_offset)
    return found.fit.offset.value, found.fit.offset.sd


WAYS: dict[str, Callable[[BiteFrame, Given], Answer]] = {
    "mean difference": mean_difference,
    "ICP twice (small_gicp)": icp_small_gicp,
    "ICP twice (open3d)": icp_open3d,
    "PnP on the corners": corners_pnp,
    "least squares, no filter": least_squares,
    "bite": ours,
}
"""All ways by the name that the table prints."""
