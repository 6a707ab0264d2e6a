"""Do picture and depth map show one mouth in one place? One finding."""

from __future__ import annotations

from collections.abc import Sequence

from bite.check.finding import Finding, Severity
from bite.evidence.model.registered import Registration

CODE = "registered"
SHIFT_MM, SIZE = 1.5, 0.045
"""A solved lip is off by up to 1 mm (``skin-agrees``) and read to 0.3 mm; a photo lens of 5 % must show."""
GAIN, GAIN_SD, CLEAR, FITS = 0.1, 2.0, 0.7, 0.8
"""How much better the outline must fit elsewhere, and by how many standard errors; from which strength on it
fits where it is, and from which no other size is believed: coarse pictures of right frames have 0.84,
a photo lens of 10 % 0.63."""
NEARER_MM, LARGE_GAIN = 1.0, 0.3
"""An outline that lies on no edge at all, and on edges all along 1 mm away, is another mouth (our choice)."""
NOWHERE, NOWHERE_SD = 0.5, 3.0
"""An outline with less than half of its strength where it stands, and surely more elsewhere, is not this
mouth's, however near that is: right frames of the worlds have 0.84 and more (our choice)."""
MET = 0.94
"""Share of the depth within 3 sd: the worst sensors of the worlds leave as much, depth of another expression
0.86 to 0.92 on five heads; a lip that was solved too thick 0.99 (our choice)."""
_SOURCE = "1.5 mm, 4.5 %, a gain of 0.1 and 2 sd: our choice, set on frames that belong together"


def stands_elsewhere(found: Registration | None) -> bool:
    """Tell whether the picture's mouth clearly stands elsewhere, or has another size."""
    if found is None or found.best - found.here < GAIN or found.gain_sd < GAIN_SD:
        return False
    resized = abs(found.size - 1.0) > SIZE and found.here < FITS
    far = found.shift_mm > SHIFT_MM or resized or lies_on_nothing(found)
    return far or (found.shift_mm > NEARER_MM and found.best - found.here > LARGE_GAIN)


def lies_on_nothing(found: Registration) -> bool:
    """Tell whether the outline misses the picture's edges where it stands, and finds them elsewhere."""
    gain = found.best - found.here
    return found.here < NOWHERE and gain > LARGE_GAIN and found.gain_sd > NOWHERE_SD


def pulled_off(found: Registration, as_solved: Registration | None, depth_inliers: float | None) -> bool:
    """Tell whether depth, itself met badly, pulled a model off the picture that it fitted as solved."""
    if as_solved is None or not stands_here(as_solved):
        return False
    if depth_inliers is None or depth_inliers >= MET:
        return False
    better = min(found.best, as_solved.here) - found.here
    return better > GAIN and found.gain_sd > GAIN_SD


def stands_here(found: Registration | None) -> bool:
    """Tell whether the picture's mouth clearly stands where the model has it."""
    return found is not None and not stands_elsewhere(found) and found.here >= CLEAR


def registered(
    found: Registration | None,
    as_solved: Registration | None,
    *,
    depth_and_model_agree: bool | None = None,
    depth_inliers: float | None = None,
    others: Sequence[tuple[str, Registration | None]] = (),
) -> Finding:
    """Hold the mouth in every picture against the one that the depth map shows.

    Of picture, depth map and solved head two may agree: the third is then named.

    Parameters
    ----------
    found : Registration or None, of the picture against the model as depth holds it
    as_solved : Registration or None, against the model as it was solved
    depth_and_model_agree : bool or None
        Whether the solved skin, lips included, is the one that the depth map shows; None: not known.
    depth_inliers : float or None, share of the depth map within 3 sd of the fitted model
    others : sequence of (str, Registration or None), the same as ``found`` in further views, by name
    """
    if found is None:
        return Finding(
            CODE, Severity.OK, "picture and depth map were not held against each other", source=_SOURCE
        )
    if stands_elsewhere(found) or pulled_off(found, as_solved, depth_inliers):
        return _told(found, *_odd_one(as_solved, depth_and_model_agree))
    for name, other in others:
        if other is not None and stands_elsewhere(other):
            return _told(
                other,
                "",
                f"give the picture of view {name} shot at this very moment, with its own camera file "
                "and clicks",
                f"view {name} is not of this frame",
                f"view {name}",
            )
    return Finding(
        CODE,
        Severity.OK,
        "the mouth in the picture stands where the depth map has it",
        "",
        found.shift_mm if stands_here(found) else None,
        None,
        SHIFT_MM,
        "mm",
        source=_SOURCE,
    )


def _odd_one(as_solved: Registration | None, depth_and_model_agree: bool | None) -> tuple[str, str]:
    """Say which of picture, depth map and solved head two others speak against, and what to do."""
    if stands_here(as_solved):
        return (
            "; the solved head fits the picture, so that the depth map or its camera file is the odd one",
            "give the depth map of this very moment and its own camera file",
        )
    if depth_and_model_agree:
        return (
            "; the solved head fits the depth map, so that the picture or its camera file is the odd one",
            "give the picture of this very moment, with its own clicks and camera file: another picture, a "
            "principal point and a focal length look like this",
        )
    if depth_and_model_agree is False and as_solved is not None:
        return (
            "; the solved mouth fits neither picture nor depth map, so that it is the odd one",
            "solve the expression of this very frame, or give the solved model that belongs to it",
        )
    return (
        "",
        "check that picture, depth map and both camera files are of one moment and one size: a principal "
        "point, a cut map and another picture look like this",
    )


def _told(
    found: Registration,
    odd: str,
    todo: str,
    first: str = "picture and depth map are not registered",
    where: str = "the picture",
) -> Finding:
    if abs(found.size - 1.0) <= SIZE or found.shift_mm > SHIFT_MM:
        away = _away(found)
        text = f"{first}: the mouth in {where} stands {away} from where the depth map has it{odd}"
        if not away:
            text = f"{first}: the mouth in {where} has another shape than the depth map has it{odd}"
        return Finding(
            CODE, Severity.FAIL, text, todo, found.shift_mm, None, SHIFT_MM, "mm", source=_SOURCE
        )
    larger = "larger" if found.size > 1 else "smaller"
    return Finding(
        CODE,
        Severity.FAIL,
        f"{first}: the mouth in {where} is {100 * abs(found.size - 1):.0f} % {larger} than the depth map has "
        f"it{odd}",
        todo
        if odd
        else "check the focal length in the picture's camera file, and that picture and depth map are of one "
        "moment",
        100 * (found.size - 1.0),
        None,
        100 * SIZE,
        "%",
        source=_SOURCE,
    )


def _away(found: Registration) -> str:
    parts = []
    if abs(found.right_mm) >= 0.5:
        parts.append(f"{abs(found.right_mm):.1f} mm to the {'right' if found.right_mm > 0 else 'left'}")
    if abs(found.down_mm) >= 0.5:
        parts.append(f"{abs(found.down_mm):.1f} mm {'down' if found.down_mm > 0 else 'up'}")
    return " and ".join(parts)
