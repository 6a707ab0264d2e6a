"""A kind of evidence that bite never heard of goes through check, second opinion, recheck and joint fit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from bite.check.result import result_mapping
from bite.check.steps import check_frame
from bite.evidence.blocks import OffsetEvidence, offset_evidence
from bite.evidence.model.head import solved_head
from bite.evidence.priors import prior_of
from bite.files.bundle import BiteFrame
from bite.fit.block import Block, Look, pushes
from bite.fit.causes import ALL_UNKNOWNS, Cause
from bite.fit.linear import CLIPPED_VARIANCE, Linear
from bite.fit.offset import OffsetFit, fit_offset
from bite.fit.parameters import COUNT, P, Prior
from bite.opinion.cause_moves import with_cause
from bite.opinion.steps import opinion_of
from bite.opinion.told import opinion_text
from bite.recheck.difference import at_rest, difference_sd
from bite.recheck.steps import achieved_by_fits
from bite.together.frame_information import information_of_fit
from bite.together.joint import JointFrame, fit_joint
from demo_bite.scene import Bite, Detail, Settings, SolveError, draw_anatomy, simulate
from demo_bite.scene.profile import as_profile_frame

pytestmark = pytest.mark.slow

PLANTED_MM = 1.4
ZERO_SD_MM, READ_SD_MM, COUNT_READ = 0.05, 0.6, 12
MEAN_SD_MM = float(np.hypot(ZERO_SD_MM, READ_SD_MM / np.sqrt(COUNT_READ)))


@dataclass(frozen=True, slots=True)
class Gauge(Block):
    """A pointer that touches an upper incisor again and again; its zero is known to 0.05 mm only."""

    read_mm: np.ndarray
    solved_mm: float = 0.0

    @property
    def name(self) -> str:
        return "gauge"

    @property
    def extra_precision(self) -> np.ndarray:
        return np.array([ZERO_SD_MM**-2])

    def predict(self, parameters: np.ndarray, /) -> float:
        return float(self.solved_mm + parameters[P.FORWARD_MM] + parameters[-1])

    def linear_of(self, seen: float, /) -> Linear:
        slope = np.zeros((len(self.read_mm), COUNT + 1))
        slope[:, P.FORWARD_MM] = slope[:, -1] = 1.0 / READ_SD_MM
        return Linear((self.read_mm - seen) / READ_SD_MM, slope, np.ones(len(slope)))

    def kinds(self, seen: float, /) -> np.ndarray:
        return np.full(len(self.read_mm), self.name)

    def cause_slopes(self, seen: float, parameters: np.ndarray, /) -> np.ndarray:
        moves = np.array([cause is Cause.FORWARD for cause, _ in ALL_UNKNOWNS], dtype=np.float64)
        return np.outer(moves, np.full(len(self.read_mm), 1.0 / READ_SD_MM))

    def with_cause(self, cause: Cause, values: np.ndarray, /) -> Gauge:
        return replace(self, solved_mm=self.solved_mm + values[0]) if cause is Cause.FORWARD else self

    def apart(self, look: Look, other: Look, /) -> float | None:
        two = other.block
        if not isinstance(two, Gauge) or not np.array_equal(self.read_mm, two.read_mm):
            return None
        return CLIPPED_VARIANCE * float(((pushes(look) - pushes(other)) ** 2).sum())


GAUGE = Gauge(PLANTED_MM + READ_SD_MM * np.random.default_rng(8).standard_normal(COUNT_READ))


@cache
def frame(name: str = "a1") -> BiteFrame:
    settings = Settings(
        t_mm=PLANTED_MM, bite=Bite(2.9, 2.4), solve=SolveError(waves_mm=0.28), detail=Detail.COARSE
    )
    rng = np.random.default_rng({"a1": 41, "a2": 42}[name])
    anatomy = draw_anatomy(np.random.default_rng(3), settings.bite)
    made = as_profile_frame(simulate(rng, settings, anatomy=anatomy))
    return replace(made, file=replace(made.file, name=name, performer="tern"), hashes={f"{name}.csv": name})


@pytest.fixture
def gauged(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every frame holds the gauge's readings beside its own evidence."""
    without = OffsetEvidence.blocks.fget
    monkeypatch.setattr(OffsetEvidence, "blocks", property(lambda self: (*without(self), GAUGE)))


def prior() -> Prior:
    return prior_of(frame().device)[0]


def fitted(name: str = "a1") -> OffsetFit:
    made = frame(name)
    solved = solved_head(made)
    assert solved is not None
    return fit_offset(offset_evidence(made, solved).blocks, prior())


def test_check_weighs_it_with_the_rest(gauged: None) -> None:
    found = check_frame(frame())
    assert found.fit is not None
    alone = fit_offset([b for b in found.fit.solution.blocks if b is not GAUGE], prior()).offset
    # pooled by hand: the frame's own offset and the gauge's mean, of which each is one number with an sd
    sds = np.array([alone.sd, MEAN_SD_MM])
    pooled = sds**-2 @ [alone.value, GAUGE.read_mm.mean()] / (sds**-2).sum()
    # the two pull the teeth to and fro by tenths of a millimetre, which changes what is hidden a little
    assert found.fit.offset.value == pytest.approx(pooled, abs=0.2 * MEAN_SD_MM)
    assert found.fit.offset.sd == pytest.approx((sds**-2).sum() ** -0.5, rel=0.1)
    assert 0.2 < found.fit.solution.evidence_share["gauge"] < 0.9
    assert "'gauge'" in str(result_mapping(found))


def test_an_opinion_tells_its_part_by_its_name(gauged: None) -> None:
    found = opinion_of(frame())
    first = found.ranked.causes[0]
    assert first.cause is Cause.FORWARD and first.gain["gauge"] > 0.1
    assert abs(first.value[0] - PLANTED_MM) < 3 * first.sd[0] < 0.6
    assert "gauge" in opinion_text(found)


def test_recheck_knows_its_readings_again(gauged: None) -> None:
    before, held = fitted(), prior()
    blocks, _ = with_cause(before.solution.blocks, held, Cause.FORWARD, np.array([1.0]))
    after = fit_offset(blocks, held)
    first, second = (at_rest(fit.solution, held) for fit in (before, after))
    same = difference_sd(first, second, held)
    read_anew = [replace(b, read_mm=b.read_mm + 1e-3) if isinstance(b, Gauge) else b for b in blocks]
    other = difference_sd(first, at_rest(fit_offset(read_anew, held).solution, held), held)
    # the same readings and zero cancel, other ones count twice; the profile's part is in both
    share = before.solution.evidence_share["gauge"]
    gained = other.sampling_mm**2 - same.sampling_mm**2
    assert gained == pytest.approx(2 * (share * MEAN_SD_MM) ** 2, rel=0.35)
    achieved, _ = achieved_by_fits(before, after, held)
    assert achieved.value == pytest.approx(1.0, abs=3 * achieved.sd) and achieved.sd < 0.05


def test_frames_together_count_it_in(gauged: None) -> None:
    fits = [fitted(name) for name in ("a1", "a2")]
    told = zip("ab", (information_of_fit(fit, prior()) for fit in fits), strict=True)
    joint = fit_joint([JointFrame(name, "one", prior(), w, None) for name, w in told])
    assert abs(joint.offset.value - PLANTED_MM) < 3 * joint.offset.sd
    assert min(f.offset.value for f in fits) <= joint.offset.value <= max(f.offset.value for f in fits)
