"""Motion fields of the causes against central differences, and planted causes found by their own name."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from bite.evidence.blocks import offset_evidence
from bite.evidence.model.head import solved_head
from bite.files.bundle import BiteFrame
from bite.fit.causes import ALL_UNKNOWNS, Cause
from bite.fit.corner_block import Clicks, CornerBlock, Use
from bite.fit.depth_block import DepthBlock
from bite.fit.head import Head
from bite.fit.noise import assumed_noise
from bite.fit.offset import fit_offset
from bite.fit.parameters import COUNT
from bite.fit.skin_moves import skin_moves
from bite.geometry.camera import Camera
from bite.geometry.render import Grid, Window
from bite.geometry.rigid import Rigid, frozen, rotation_from_vector
from bite.geometry.teeth import UPPER
from bite.opinion.explain import Explanations, explain, ranking, refit
from bite.opinion.scores import fitted_without, prior_of_none, scores_of
from bite.opinion.steps import best_of, conclusion_of, values_told
from demo_bite.scene import THIN_STRIP, Detail, Sensor, Settings, SolveError, as_bite_frame, simulate
from tests.coverage.offset import KNOWN_ENAMEL, PHOTO_CLICKS
from tests.coverage.opinion import planted_frame
from tests.opinion.test_opinion import one

PLACE = np.array([0, 0, 0, 0, 0, 0, 0, 0, 0, 1.7, 0.0, 0, 0, 0])


def facet() -> tuple[Head, Camera]:
    """One tilted facet of enamel that fills the picture: no rims."""
    points = np.array([[-900.0, -700, 260], [900, -700, 300], [0, 1500, 420]])
    unit = np.linalg.qr(np.array([[0.1, -0.2, -0.97], [0.95, 0.1, 0.1], [0.1, -0.9, 0.2]]).T)[0].T
    corners = {
        c: np.array(p) for c, p in (("11d", [-9.0, 0, 300]), ("21d", [9.0, 1, 301]), ("41d", [-5.0, 3, 303]))
    }
    lens = frozen([-0.12, 0.05, 0.001, -0.0007, 0.01])
    camera = Camera(160, 120, frozen([[300.0, 0, 80.0], [0, 305.0, 61.0], [0, 0, 1]]), lens, Rigid())
    head = Head(
        points, np.array([[0, 1, 2]], np.int32), np.array([UPPER], np.int8), np.ones(3, bool), *unit,
        np.array([1.0, 2.0, 300.0]), corners, {},
    )  # fmt: skip
    return head, camera


def moved(head: Head, cause: Cause, which: int, amount: float) -> Head:
    about = 0.5 * (head.row_centre(True) + head.row_centre(False))

    def move(points: np.ndarray) -> np.ndarray:
        if cause is Cause.SIZE:
            return about + (1 + amount / 100) * (points - about)
        axis = (head.right, head.forward)[which]
        return about + (points - about) @ rotation_from_vector(np.deg2rad(amount) * axis).T

    return replace(
        head, points_mm=move(head.points_mm), corners={c: move(p[None])[0] for c, p in head.corners.items()}
    )


@pytest.mark.parametrize(("cause", "which"), [(Cause.SIZE, 0), (Cause.TURN, 0), (Cause.TURN, 1)])
def test_slopes_of_causes(cause: Cause, which: int) -> None:
    head, camera = facet()
    grid = Grid.of(camera, Window(40, 30, 70, 60))
    noise = assumed_noise(0.4, 1.5)

    def block(amount: float) -> DepthBlock:
        own = moved(head, cause, which, amount)
        return DepthBlock(own, skin_moves(own, 30.0), grid, np.full((60, 70), 300.0), noise, 0.0, 1.0)

    step = 1e-3
    place = [c for c, _ in ALL_UNKNOWNS].index(cause) + which
    numeric = (block(step).predict(PLACE).depth_mm - block(-step).predict(PLACE).depth_mm) / (2 * step)
    at = block(0.0)
    seen = at.predict(PLACE)
    analytic = at.cause_slopes(seen, PLACE)[place]
    assert seen.used.sum() > 1000 and not analytic[~seen.used].any()
    numeric = np.where(seen.used, numeric, 0.0)
    # central differences: truncation 1e-6 of a per cent or degree squared, far below
    assert np.abs(numeric - analytic).max() < 1e-5 * np.abs(numeric).max()

    names = ("11d", "21d", "41d")
    use = np.array([Use.CORNER, Use.CORNER, Use.BOUND], np.int8)

    def corners(amount: float) -> CornerBlock:
        own = moved(head, cause, which, amount)
        return CornerBlock(own, (Clicks("a", camera, names, use, np.zeros((3, 2)) - 50.0, np.full(3, 0.7)),))

    by_step = (corners(step).predict(PLACE).residual - corners(-step).predict(PLACE).residual) / (2 * step)
    clicked = corners(0.0)
    found = clicked.cause_slopes(clicked.predict(PLACE), PLACE)[place]
    assert np.abs(-by_step - found)[:4].max() < 1e-5 * np.abs(found).max()
    assert PLACE.shape == (COUNT,)


def opinion(frame: BiteFrame, *, refits: int = 1) -> Explanations:
    solved = solved_head(frame)
    assert solved is not None
    evidence = offset_evidence(frame, solved)
    return explain(evidence.blocks, evidence.prior, refits=refits)


@pytest.mark.slow
@pytest.mark.parametrize(("cause", "amount"), [(Cause.ROWS, 3.0), (Cause.TURN, 6.0)])
def test_a_planted_cause_comes_first_with_its_size(cause: Cause, amount: float) -> None:
    found = opinion(planted_frame(71, cause, amount))
    first = found.causes[0]
    assert first.cause is cause and first.refitted and best_of(found)[0] is first
    assert found.weight_of_none < 0.01
    assert sum(e.weight for e in found.causes) + found.weight_of_none == pytest.approx(1.0)
    assert sum(first.gain.values()) == pytest.approx(1.0)
    largest = int(np.argmax(np.abs(first.value / first.sd)))
    assert abs(abs(first.value[largest]) - amount) < 4 * first.sd[largest]


@pytest.mark.slow
def test_the_offset_is_that_of_the_fit_of_the_offset() -> None:
    frame = planted_frame(71, Cause.FORWARD, 2.0)
    solved = solved_head(frame)
    assert solved is not None
    evidence = offset_evidence(frame, solved)
    fitted = fit_offset(evidence.blocks, evidence.prior).offset
    found = explain(evidence.blocks, evidence.prior, refits=1)
    forward = next(e for e in found.causes if e.cause is Cause.FORWARD)
    # the same readings: the two differ by what either holds fixed, a part of an sd
    assert forward.refitted and abs(forward.value[0] - fitted.value) < fitted.sd
    assert 0.5 < forward.sd[0] / fitted.sd < 1.5
    assert abs(abs(fitted.value) - 2.0) < 4 * fitted.sd


@pytest.mark.slow
def test_a_strong_offset_on_a_thin_strip_is_told() -> None:
    settings = Settings(
        t_mm=2.0, mouth=THIN_STRIP, sensor=Sensor(smoothing_px=1.5), solve=SolveError(waves_mm=0.28),
        clicks=PHOTO_CLICKS, detail=Detail.COARSE,
    )  # fmt: skip
    frame = as_bite_frame(simulate(np.random.default_rng(100), settings), device=KNOWN_ENAMEL)
    found = opinion(frame, refits=3)
    best = best_of(found)
    assert [e.cause for e in best] == [Cause.FORWARD]
    assert conclusion_of(found, best).startswith("teeth forward or back explains it best")


@pytest.mark.slow
def test_clicks_alone_leave_out_what_they_cannot_see() -> None:
    frame = planted_frame(73, None, 0.0)
    solved = solved_head(frame)
    assert solved is not None
    evidence = offset_evidence(frame, solved)
    assert evidence.corners is not None
    none = prior_of_none(evidence.prior)
    found = ranking(scores_of(fitted_without([evidence.corners], none), none))
    unseen = {e.cause for e in found.causes if e.unseen}
    assert {Cause.LIPS, Cause.ENAMEL, Cause.SCALE} <= unseen
    assert all(e.weight == 0.0 and e.chance == 1.0 for e in found.causes if e.unseen)
    assert found.causes[0].cause not in unseen


@pytest.mark.slow
def test_a_clean_frame_shows_nothing_and_names_look_alikes() -> None:
    found = opinion(planted_frame(72, None, 0.0))
    assert not found.found
    forward = next(e for e in found.causes if e.cause is Cause.FORWARD)
    assert Cause.ENAMEL in {cause for cause, _ in forward.alike}


def test_a_refit_that_never_stays_is_told_as_unsettled_with_an_sd_that_holds_where_it_went(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A pitch of 6 degrees was told as 2.4 +- 0.7 by slopes at no difference, a size of -8 % as +3.5."""
    steps = iter([1.2, 1.1, 0.9, 0.8, 0.7])
    monkeypatch.setattr("bite.opinion.explain.with_cause", lambda blocks, none, cause, value: (blocks, none))
    monkeypatch.setattr("bite.opinion.explain.fitted_without", lambda blocks, none, near: None)
    monkeypatch.setattr("bite.opinion.explain.scores_of", lambda solution, prior: None)
    monkeypatch.setattr(
        "bite.opinion.explain._estimate", lambda *_: (np.array([next(steps)]), np.array([0.7]))
    )
    slopes = one(Cause.SIZE, 40.0, chance=1e-9, value=2.4, sd=0.7)
    found = refit((), None, slopes, None)  # type: ignore[arg-type]  # a stand-in
    truth = 6.0
    assert found.unsettled and found.placed is None and found.value[0] == 2.4
    assert abs(found.value[0] - truth) < 1.96 * found.sd[0]
    assert "its fit did not settle" in values_told(found)


def test_a_refit_that_stays_is_told_with_its_own_sd(monkeypatch: pytest.MonkeyPatch) -> None:
    steps = iter([1.2, 0.05])
    monkeypatch.setattr("bite.opinion.explain.with_cause", lambda blocks, none, cause, value: (blocks, none))
    settled = SimpleNamespace(parameters=np.zeros(COUNT))
    monkeypatch.setattr("bite.opinion.explain.fitted_without", lambda blocks, none, near: settled)
    monkeypatch.setattr("bite.opinion.explain.scores_of", lambda solution, prior: None)
    monkeypatch.setattr("bite.opinion.explain._leaves", lambda scores, cause: ())
    monkeypatch.setattr(
        "bite.opinion.explain._estimate", lambda *_: (np.array([next(steps)]), np.array([0.6]))
    )
    found = refit((), None, one(Cause.SIZE, 40.0, chance=1e-9, value=2.4, sd=0.7), None)  # type: ignore[arg-type]  # a stand-in
    assert not found.unsettled and found.placed is not None
    assert found.value[0] == pytest.approx(3.65) and found.sd[0] == 0.6
