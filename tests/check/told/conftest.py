"""Assessments of an invented frame, made without files or a fit, for tests of what is printed and drawn."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from bite.check.assessment import Assessment, BiteMeasures, CornerMark
from bite.check.decision import decide
from bite.check.finding import Finding, Severity, worst_first
from bite.check.sections import Section
from bite.files.bundle import BiteFrame, LoadedView
from bite.files.depth import DepthMap
from bite.files.device import Device
from bite.files.frame import Axes, FrameFile, MapEntry, SolvedEntry, ViewEntry
from bite.files.rig import Dial, Rig
from bite.fit.offset import OffsetFit
from bite.fit.parameters import COUNT, P
from bite.fit.solution import Solution
from bite.geometry.camera import Camera
from bite.geometry.rigid import Rigid, frozen
from bite.stats.estimate import Estimate

PX_PER_MM = 5.0
MIDDLE = (500.0, 640.0)
CORNERS_MM = {
    "11d": (-8.5, 0.0),
    "11m": (-0.5, 0.6),
    "21m": (0.5, 0.6),
    "21d": (8.5, 0.1),
    "41d": (-5.4, -0.4),
    "41m": (-0.4, 0.2),
    "31m": (0.4, 0.2),
    "31d": (5.4, -0.4),
}

FINDINGS = (
    Finding(
        "overbite-visible",
        Severity.NOTE,
        "2 of 4 lower corners are covered by the upper edge, as in a normal bite.",
        measured=0.5,
        limit=0.25,
        unit="1",
    ),
    Finding(
        "depth-covered",
        Severity.WARN,
        "Only 71 % of the enamel has depth readings.",
        "Move the sensor back by 30 mm, or polarise its light.",
        measured=0.712,
        sd=0.034,
        limit=0.8,
        unit="1",
    ),
    Finding(
        "bite-gap",
        Severity.OK,
        "The rows overlap: the teeth were closed.",
        measured=-0.4,
        sd=0.2,
        limit=0.3,
        unit="mm",
    ),
    Finding("sharp", Severity.OK, "Edges are 2.1 px wide.", measured=2.13, sd=0.2, limit=4.0, unit="px"),
    Finding("resolved", Severity.OK, "5.0 px per mm in the picture, 2.0 in depth."),
)

EARNED = (
    Finding("on-enamel", Severity.OK, "The picture falls at the clicked edge."),
    Finding("enamel-lit", Severity.OK, "2 % of the upper enamel is clipped bright."),
)
"""What a frame without a solved model needs besides to be usable."""

GAPED = Finding(
    "bite-gap",
    Severity.FAIL,
    "The incisal edges stand 2.1 mm apart: the teeth were not closed.",
    "Choose another frame of the take.",
    measured=2.1,
    sd=0.2,
    limit=0.3,
    unit="mm",
    needs_reshoot=True,
)


FORWARD = Estimate(1.42, 0.112)


@dataclass(frozen=True)
class Fake:
    """What a made-up assessment holds; ``make`` builds it."""

    offset: Estimate | None = FORWARD
    solved: bool = True
    depth: bool = True
    dial: Dial | None = field(default_factory=lambda: Dial(True, 3.2, None, None, 1.0, 0.01))
    dial_before: float = 0.0
    findings: tuple[Finding, ...] = FINDINGS
    views: tuple[str, ...] = ("front",)
    clicked: bool = True
    px_per_mm: float | None = PX_PER_MM
    brightness: int = 150
    settle: str = "no depth was given; add a depth map or a second calibrated view"
    holes: bool = False
    name: str = "tern-a07"

    def make(self) -> Assessment:
        dial = self.dial if self.solved else None
        decision = decide(
            solved=self.solved,
            offset=self.offset,
            findings=self.findings,
            dial=dial,
            dial_before=self.dial_before if dial else None,
            settle=self.settle,
        )
        moved = decision.move.stands_for_mm if decision.move else (self.offset.value if self.offset else 0.0)
        fit = make_fit(self.offset, self.depth) if self.offset else None
        return Assessment(
            frame=self.frame(),
            solved=None,
            fit=fit,
            why_no_offset="" if fit else (self.settle if self.solved else "no solved model was given"),
            findings=tuple(worst_first(list(self.findings))),
            measures=BiteMeasures(
                Estimate(-0.4, 0.21), None, Estimate(2.6, 0.31), 1.2, Estimate(3.1, 0.4), 2.9
            )
            if self.clicked
            else BiteMeasures(None, None, None, 1.2 if self.solved else None, None, None),
            decision=decision,
            marks=tuple(mark for view in self.views for mark in self.marks(view, moved)),
            sections=sections(self.offset.value if self.offset else 0.0, moved, self.holes)
            if self.depth and self.solved and fit
            else (),
            moved_mm=moved,
            px_per_mm=self.px_per_mm,
            priors_used=(
                "sensor smoothing 2.0 +- 1.5 depth px: the default, as the device bench-depth has no table",
                "enamel bias 0.20 +- 0.20 mm deeper: the default, an estimate from light transport",
            ),
            version="0.1.0",
        )

    def marks(self, view: str, moved_mm: float) -> list[CornerMark]:
        found = []
        for name, (x, y) in CORNERS_MM.items():
            at = np.array(MIDDLE) + PX_PER_MM * np.array([x, y])
            covered = name in ("41m", "31m")
            model = [tuple(map(float, at + d)) for d in ((1.5, -4.0), (1.5, -4.0 - moved_mm))]
            clicked = tuple(map(float, at)) if self.clicked else None
            before, after = model if self.solved else (None, None)
            if clicked or before:
                found.append(CornerMark(view, name, "covered" if covered else "seen", clicked, before, after))
        if self.clicked:
            found.append(CornerMark(view, "subnasale", "landmark", (500.0, 560.0), None, None))
        return found

    def frame(self) -> BiteFrame:
        folder = Path("/frames")
        solved = (
            SolvedEntry(
                folder / "solved.obj",
                10.0,
                Axes.OPENCV,
                None,
                folder / "rig.toml",
                self.dial_before,
                None,
                None,
            )
            if self.solved
            else None
        )
        depth = MapEntry(folder / "front.depth.png", 0.1, None, "front", None) if self.depth else None
        entries = tuple(
            ViewEntry(v, folder / f"{v}.png", folder / f"{v}.camera.yaml", None) for v in self.views
        )
        file = FrameFile(
            folder / "a.bite.toml", self.name, "tern", "bench-depth", None, entries, depth, solved
        )
        camera = Camera(
            1000, 1300, frozen([[1400.0, 0, 500], [0, 1400, 650], [0, 0, 1]]), frozen(np.zeros(5)), Rigid()
        )
        loaded = tuple(
            LoadedView(v, folder / f"{v}.png", picture(self.brightness), camera, None) for v in self.views
        )
        depth_map = (
            DepthMap(folder / "front.depth.png", frozen(np.full((4, 4), 300.0)), 0.1) if self.depth else None
        )
        rig = (
            Rig(
                folder / "rig.toml",
                folder / "rest.obj",
                10.0,
                frozen([0, 0, 1]),
                frozen([0, 1, 0]),
                {},
                {},
                {},
                self.dial,
            )
            if self.solved and self.dial
            else None
        )
        return BiteFrame(
            file,
            loaded,
            depth_map,
            camera if self.depth else None,
            "front",
            None,
            rig,
            None,
            None,
            Device("bench-depth", "defaults"),
            {"front.png": "sha256:" + "ab" * 32, "a.toml": "sha256:" + "cd" * 32},
        )


def make_fit(offset: Estimate, depth: bool) -> OffsetFit:
    parameters = np.zeros(COUNT)
    parameters[P.FORWARD_MM] = offset.value
    sampling, systematic = (np.eye(COUNT) * part * offset.sd**2 for part in (0.49, 0.51))
    kinds = ("depth", "corners") if depth else ("corners",)
    solution = Solution(
        parameters=frozen(parameters),
        bread=frozen(np.eye(COUNT)),
        sampling=frozen(sampling),
        systematic=frozen(systematic),
        evidence_share=dict(zip(kinds, (0.9, 0.08) if depth else (0.98,), strict=True)),
        prior_share=0.02,
        blocks=(),
        seen=(),
        columns=(),
        converged=True,
        stop_reason="forward offset moved 0.0008 mm in round 5, less than 0.01 mm",
        rounds=5,
        first_cost=412.0,
        last_cost=97.5,
        freedom=5210,
        chi2_reduced=dict(zip(kinds, (1.04, 1.37), strict=False)),
        inlier_share=dict(zip(kinds, (0.973, 1.0), strict=False)),
        condition=5.3e3,
        at_bound=(),
    )
    return OffsetFit(
        solution,
        offset,
        offset.sd * 0.7,
        offset.sd * 0.714,
        Estimate(0.1, 0.21),
        Estimate(-0.2, 0.16),
        Estimate(2.1, 0.13) if depth else None,
        Estimate(0.12, 0.33) if depth else None,
    )


def sections(offset_mm: float, moved_mm: float, holes: bool) -> tuple[Section, ...]:
    rng = np.random.default_rng(11)
    along = np.arange(-24.0, 24.125, 0.25)
    made = []
    for name, teeth, lips in (
        ("crowns", (along > -5) & (along < 8), 296.0 + 0.004 * along**2),
        ("across incisors", np.abs(along) < 21, 299.0 + 0.0 * along),
    ):
        arch = 303.0 + (0.02 * along**2 if name != "crowns" else 0.05 * np.abs(along))
        soft = np.convolve(np.pad(teeth.astype(float), 12, "edge"), np.ones(13) / 13, "same")[12:-12]

        def depth(share, move, arch=arch, lips=lips):
            return share * (arch - move) + (1 - share) * lips

        measured = depth(soft, offset_mm) + rng.normal(0, 0.15, len(along))
        measured[40:43] = 340.0
        measured[150:160] = np.nan
        if holes:
            measured[:] = np.nan
        made.append(
            Section(
                name,
                along,
                measured,
                np.full(len(along), 0.15),
                depth(soft, 0.0),
                depth(soft, moved_mm),
                depth(teeth.astype(float), 0.0),
                depth(teeth.astype(float), moved_mm),
                teeth,
            )
        )
    return tuple(made)


def picture(brightness: int) -> np.ndarray:
    """Give a face-coloured ground with a dark mouth and two rows of bright crowns."""
    image = np.empty((1300, 1000, 3), dtype=np.uint8)
    image[:] = np.array([1.0, 0.78, 0.68]) * brightness
    image[560:760, 380:620] = np.array([0.75, 0.4, 0.4]) * brightness
    image[590:720, 400:600] = np.array([0.3, 0.15, 0.15]) * brightness
    for column in range(400, 600, 42):
        image[595:642, column : column + 39] = np.array([1.0, 0.97, 0.9]) * brightness
        image[646:700, column + 10 : column + 36] = np.array([0.95, 0.92, 0.84]) * brightness
    return image


@pytest.fixture
def fake() -> type[Fake]:
    return Fake


@pytest.fixture
def gaped() -> Finding:
    return GAPED
