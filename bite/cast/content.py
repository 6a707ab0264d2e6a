"""What a page, table and PDF of a cast are drawn from: one small row a frame, and what all show together."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from bite.cast.mouth_pictures import MouthPictures
from bite.check.decision import Verdict
from bite.check.finding import Severity
from bite.stats.shared_shift import LearnedBias, SharedShift


class FailureKind(StrEnum):
    """Why a frame has no verdict."""

    INPUT = "bad input"
    FAULT = "fault of the program"
    KILLED = "check ended by the system"


WORST_FIRST = (Verdict.RESHOOT, Verdict.UNSURE, Verdict.BEYOND, Verdict.MOVE, Verdict.LEAVE, Verdict.USABLE)
NEEDS_A_PERSON = (Verdict.RESHOOT, Verdict.UNSURE, Verdict.BEYOND)


@dataclass(frozen=True, slots=True)
class FailedFrame:
    """A frame that could not be checked. ``performer`` is empty where the frame file could not be read."""

    path: str
    kind: FailureKind
    line: str
    name: str = ""
    performer: str = ""
    device: str = ""


@dataclass(frozen=True, slots=True)
class FrameRow:
    """One checked frame: what tables and pooling need, small enough to hold thousands.

    Lengths in mm, forward positive; None: not measured. ``path`` is as seen from the cast file.
    ``assumed_enamel_mm`` is the enamel bias that the check started from. ``result``, ``picture`` and the
    pictures of the ``mouth`` lie on disk until a page reads them; ``mouth`` is None where nothing says where
    it is. ``dial_advised`` is what this frame alone says; what a performer is to be given is an `Advice`.
    """

    path: str
    name: str
    performer: str
    device: str
    verdict: Verdict
    why: str
    todo: str
    converged: bool
    failed_codes: tuple[str, ...]
    warned_codes: tuple[str, ...]
    t_mm: float | None
    sd_mm: float | None
    sampling_sd_mm: float | None
    systematic_sd_mm: float | None
    low_mm: float | None
    high_mm: float | None
    right_mm: float | None
    right_sd_mm: float | None
    up_mm: float | None
    up_sd_mm: float | None
    per_enamel_mm: float | None
    assumed_enamel_mm: float
    dial: float | None
    dial_before: float | None
    dial_before_mm: float | None
    dial_step: float
    dial_advised: bool
    left_over_mm: float | None
    annotators: tuple[str, ...]
    result: Path
    result_sha256: str
    picture: Path
    picture_sha256: str
    picture_width_px: int
    picture_height_px: int
    mouth: MouthPictures | None = None
    evidence: tuple[str, ...] = ()
    """hashes of its pictures and depth maps"""
    twin_of: str = ""
    """name of a frame before it that holds one of the same pictures or depth maps"""

    @property
    def needs_person(self) -> bool:
        """Whether somebody has to look at this frame."""
        return self.verdict in NEEDS_A_PERSON

    @property
    def need_mm(self) -> float | None:
        """Where the teeth must stand, mm forward of dial 0: the same for a model before and after a move.

        None where the offset or the dial's travel is not known.
        """
        if self.t_mm is None:
            return None
        if self.dial_before_mm is not None:
            return self.t_mm + self.dial_before_mm
        return self.t_mm if not self.dial_before else None


@dataclass(frozen=True, slots=True)
class Advice:
    """The one piece of advice for one performer.

    Parameters
    ----------
    dial : float or None, the value to type; None where none is advised
    held : float or None, a value that was found and is not to be typed yet
    why_held : str, empty unless ``held``
    first : str, what a person has to do before typing, without a full stop; may be empty
    """

    dial: float | None = None
    held: float | None = None
    why_held: str = ""
    first: str = ""


@dataclass(frozen=True, slots=True)
class PerformerAnswer:
    """What to do for one performer: the frame that says it best, and the others beside it.

    ``frame`` is the one with a dial value that is known best; without any it is the best frame there is, and
    None when no frame of the performer could be checked.
    """

    performer: str
    frame: FrameRow | None
    others: tuple[FrameRow, ...]
    failures: tuple[FailedFrame, ...]
    advice: Advice = Advice()

    @property
    def needs_person(self) -> bool:
        """Whether somebody has to look before anything can be done for this performer."""
        return self.frame is None or self.frame.needs_person or bool(self.advice.first)


@dataclass(frozen=True, slots=True)
class DeviceSummary:
    """What the frames of one device show together, with the sentence and what to do about it."""

    device: str
    shift: SharedShift
    learned: LearnedBias | None
    assumed_enamel_mm: float | None
    text: str
    todo: str
    severity: Severity


@dataclass(frozen=True, slots=True)
class Note:
    """Something that frames show against each other."""

    code: str
    severity: Severity
    text: str
    todo: str
    frames: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CastContent:
    """A whole cast; ``rows`` worst first."""

    name: str
    tolerance_mm: float
    performance_device: str
    version: str
    rows: tuple[FrameRow, ...]
    failures: tuple[FailedFrame, ...]
    answers: tuple[PerformerAnswer, ...]
    devices: tuple[DeviceSummary, ...]
    notes: tuple[Note, ...]
