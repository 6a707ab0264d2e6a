"""From followed rows to what a rig file should say of its dial: direction, travel, and what comes with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bite.check.finding import Finding, Severity, worst_first
from bite.dial.exports import RowMotion, Station
from bite.errors import InputError
from bite.files.rig import Rig
from bite.geometry.rigid import Array, frozen

DIRECTION_DEG = 3.0
"""Beyond this the dial lifts or shifts the teeth by more than 5 % of what it slides them (our choice)."""
STRAIGHT_MM, STRAIGHT_SHARE = 0.05, 0.02
"""A travel is one number where no export is off a straight line by more than the larger of both, the share
being of
the largest travel (our choice: a tenth of the usual tolerance)."""
SYMMETRIC_SHARE = 0.02
"""A dial that goes 2 % farther one way than the other is called even: at 3 mm that is 0.06 mm, an eighth of
the tolerance (our choice)."""
ROWS_MM = 0.05
"""Rows that follow the dial alike within this are one (our choice: a tenth of the tolerance)."""
TURN_DEG, SCALE_SHARE, SIDES_MM = 0.2, 0.002, 0.05
"""A turn of 0.2 degrees moves a molar 40 mm behind the incisors by 0.14 mm (our choice)."""


@dataclass(frozen=True, slots=True)
class DialTravel:
    """What the exports say of the dial.

    Parameters
    ----------
    stations : tuple of Station, rising in dial value
    direction : array, shape (3,), mm to forward, right and up a mm of travel, unit length, running forward
    off_forward_deg : float, angle between the motion and the rig's forward
    mm_per_unit : float, size of the travel forward a unit, over all exports
    mm_per_unit_sd : float or None, from the scatter about the line; None with one export
    plus_mm_per_unit, minus_mm_per_unit : float or None, the same on either side of 0; None where nothing was
    exported
    off_line_mm : float, the farthest that an export is off one straight line through 0
    straight, symmetric : bool or None, within the stated limits; None where the exports cannot tell
    travel : array, shape (n, 2), (dial, mm forward), rising in dial, 0 included
    findings : tuple of Finding, worst first
    """

    stations: tuple[Station, ...]
    direction: Array
    off_forward_deg: float
    mm_per_unit: float
    mm_per_unit_sd: float | None
    plus_mm_per_unit: float | None
    minus_mm_per_unit: float | None
    off_line_mm: float
    straight: bool | None
    symmetric: bool | None
    travel: Array
    findings: tuple[Finding, ...]

    @property
    def one_number(self) -> bool:
        """Whether ``mm_per_unit`` says it all; else the travel table does."""
        return bool(self.straight) and bool(self.symmetric)

    @property
    def may_be_written(self) -> bool:
        """Whether nothing found forbids to use it."""
        return all(finding.severity is not Severity.FAIL for finding in self.findings)


def dial_travel_of(rig: Rig, stations: Sequence[Station]) -> DialTravel:
    """Sum up how the dial moves the teeth.

    Raises
    ------
    InputError
        When the motion contradicts the rig's ``positive``, turns round along the dial, or is not along
        forward at all.
    """
    value = np.array([s.value for s in stations])
    ahead = np.array([s.forward_mm for s in stations])
    _check_sign(rig, stations, value, ahead)
    way = -1.0 if rig.dial.positive_is_back else 1.0
    moved = np.array([0.5 * (_vector(s.upper) + _vector(s.lower)) for s in stations])
    # a straight line through 0, by least squares: its direction is where the motion goes
    direction = way * (value @ moved)
    direction /= np.linalg.norm(direction)
    slope = float(value @ ahead / (value @ value))
    off = ahead - slope * value
    reach = float(np.abs(ahead).max())
    off_line = float(np.abs(off).max())
    plus, minus = (_slope(value[side], ahead[side]) for side in (value > 0, value < 0))
    straight = None if len(stations) < 2 else off_line <= max(STRAIGHT_MM, STRAIGHT_SHARE * reach)
    symmetric = None
    if plus is not None and minus is not None:
        symmetric = abs(plus - minus) <= SYMMETRIC_SHARE * 0.5 * (plus + minus)
    sd = None
    if len(stations) > 1:
        sd = float(np.sqrt(off @ off / (len(off) - 1) / (value @ value)))
    rows = np.concatenate([[[0.0, 0.0]], np.column_stack([value, ahead])])
    found = DialTravel(
        tuple(stations),
        frozen(direction),
        float(np.degrees(np.arccos(np.clip(direction[0], -1.0, 1.0)))),
        abs(slope),
        sd,
        plus,
        minus,
        off_line,
        straight,
        symmetric,
        frozen(rows[np.argsort(rows[:, 0])]),
        (),
    )
    return replace(found, findings=tuple(worst_first(list(_findings(found)))))


def _vector(row: RowMotion) -> Array:
    return np.array([row.forward_mm, row.right_mm, row.up_mm])


def _slope(value: Array, ahead: Array) -> float | None:
    return abs(float(value @ ahead / (value @ value))) if len(value) else None


def _check_sign(rig: Rig, stations: Sequence[Station], value: Array, ahead: Array) -> None:
    wanted = "back" if rig.dial.positive_is_back else "forward"
    for station in stations:
        away = float(np.linalg.norm(0.5 * (_vector(station.upper) + _vector(station.lower))))
        if abs(station.forward_mm) < 0.5 * away:
            what = (
                f"dial {station.value:g} moves the teeth {away:.2f} mm, of which "
                f"{abs(station.forward_mm):.2f} mm along forward"
            )
            mend = "correct forward and up (in the rest export's axes), or export the dial that slides teeth"
            raise InputError(rig.path, "forward", what, mend)
    towards = np.sign(ahead) * np.sign(value)
    if not (towards == towards[0]).all():
        what = "the exports on both sides of 0 move the teeth the same way"
        raise InputError(rig.path, "[dial]", what, "check which export belongs to which value")
    found = "forward" if towards[0] > 0 else "back"
    if found != wanted:
        station = stations[int(np.argmax(np.abs(ahead)))]
        what = (
            f'SIGN: the rig says positive = "{wanted}", but {station.file} at dial '
            f"{station.value:+g} has its teeth {abs(station.forward_mm):.2f} mm "
            f"{'forward' if station.forward_mm > 0 else 'back'}, so that a rising dial moves them {found}"
        )
        mend = f'write positive = "{found}" if the exports carry the right values; nothing was written'
        raise InputError(rig.path, "[dial] positive", what, mend)
    order = np.argsort(np.concatenate([[0.0], value]))
    steps = np.diff(np.concatenate([[0.0], ahead])[order])
    if not ((steps > 0).all() or (steps < 0).all()):
        what = "the teeth turn round along the dial, needed a motion that only rises or only falls"
        raise InputError(rig.path, "[dial]", what, "check which export belongs to which value")


def _findings(found: DialTravel) -> Iterator[Finding]:
    yield _held(
        "dial-direction",
        found.off_forward_deg,
        DIRECTION_DEG,
        "deg",
        "The dial slides the teeth along forward.",
        "The dial does not slide the teeth along forward: it lifts or shifts them too.",
        "Correct forward and up in the rig file, or the dial in the rig.",
        Severity.WARN,
    )
    apart = max(abs(s.upper.forward_mm - s.lower.forward_mm) for s in found.stations)
    yield _held(
        "dial-rows",
        apart,
        ROWS_MM,
        "mm",
        "Both rows move alike.",
        "The dial moves the rows apart: it cannot stand for one offset of both.",
        "Correct the dial in the rig, so that it moves both rows alike.",
        Severity.FAIL,
    )
    motions = [row for s in found.stations for row in (s.upper, s.lower)]
    for code, got, limit, unit, fine, wrong in (
        (
            "dial-turn",
            max(r.turn_deg for r in motions),
            TURN_DEG,
            "deg",
            "No turn comes with it.",
            "The rows turn too.",
        ),
        (
            "dial-scale",
            100 * max(abs(r.scale - 1) for r in motions),
            100 * SCALE_SHARE,
            "%",
            "No change of size comes with it.",
            "The rows change size too.",
        ),
        (
            "dial-sides",
            max(abs(r.sides_mm) for r in motions),
            SIDES_MM,
            "mm",
            "Left and right move alike.",
            "Left and right halves of a row do not move alike.",
        ),
    ):
        yield _held(code, got, limit, unit, fine, wrong, "Correct the dial in the rig.", Severity.WARN)
    stays = [
        s for s in found.stations if s.other_forward_mm is not None
        and abs(s.other_forward_mm - s.forward_mm) > max(ROWS_MM, 0.1 * abs(s.forward_mm))
    ]  # fmt: skip
    if stays:
        assert stays[-1].other_forward_mm is not None
        yield Finding(
            "dial-gums",
            Severity.NOTE,
            "The other parts (gums, tongue) do not move with the teeth; a check takes them to.",
            measured=stays[-1].other_forward_mm,
            limit=stays[-1].forward_mm,
            unit="mm",
        )
    if found.symmetric is None:
        yield Finding(
            "dial-symmetric",
            Severity.NOTE,
            "Only one side of 0 was exported: the other side is taken to go on along the last piece.",
            "Export the other side too.",
        )


def _held(
    code: str, got: float, limit: float, unit: str, fine: str, wrong: str, todo: str, severity: Severity
) -> Finding:
    good = got <= limit
    return Finding(
        code,
        Severity.OK if good else severity,
        fine if good else wrong,
        "" if good else todo,
        measured=got,
        limit=limit,
        unit=unit,
    )
