"""The planted frames of simulated takes: the best are found, and every trap is told."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bite.choose.content import Standing
from bite.choose.run import CLICK_ONCE, Click, choose
from bite.choose.written import chosen_text
from bite.errors import InputError
from bite.files.corners import LandmarkPoint
from bite.files.take import open_take
from demo_bite.scene.take import Planted
from tests.choose.takes import (
    SEEDS,
    STRETCH,
    STRETCHED,
    clicked_corners,
    frames_of,
    small_take,
    write_pictures,
    write_video,
)
from tests.coverage.choose import carried_errors


def _by_number(chosen):
    return {one.measures.number: one for one in chosen.ranked}


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_a_planted_best_frame_is_among_the_first_three(chosen, seed):
    take = small_take(seed)
    first = [take.planted[one.measures.number] for one in chosen[seed].ranked[:3]]
    assert Planted.BEST in first


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_every_trap_is_told(chosen, seed):
    take, found = small_take(seed), _by_number(chosen[seed])
    for number in frames_of(take, Planted.GAP):
        assert found[number].standing is Standing.UNFIT
    for number in frames_of(take, Planted.CLIPPED):
        assert found[number].standing is not Standing.FIT and "clipped bright" in found[number].why
    best = min(found[number].cost_mm for number in frames_of(take, Planted.BEST))
    # the ends of the dash are half at rest; in its middle the head moves by 10 px a frame
    for number in frames_of(take, Planted.BLURRED)[:2]:
        assert found[number].standing is not Standing.FIT
        assert found[number].cost_mm is None or found[number].cost_mm > 2 * best


@pytest.mark.slow
def test_a_gap_is_called_one(chosen):
    told = [
        _by_number(chosen[seed])[number].why
        for seed in SEEDS
        for number in frames_of(small_take(seed), Planted.GAP)
    ]
    assert np.mean(["dark band" in why for why in told]) > 0.5


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_carried_corners_keep_to_their_sd(chosen, seed):
    rows = carried_errors(small_take(seed), chosen[seed])
    assert len(rows) > 100
    score = np.abs(rows[:, 0]) / rows[:, 1]
    # 95 % of a Gaussian; frames of one take share their errors, so less is asked of a single take
    assert (score <= 2.0).mean() > 0.85
    assert np.sqrt((score**2).mean()) < 1.6


@pytest.mark.slow
def test_a_wider_grin_promises_a_smaller_sd(chosen):
    for seed in SEEDS:
        take, found = small_take(seed), _by_number(chosen[seed])
        wide = np.median([found[k].measures.sd_mm for k in frames_of(take, Planted.BEST)])
        fair = np.median([found[k].measures.sd_mm for k in frames_of(take, Planted.FAIR)])
        assert wide < fair


@pytest.mark.slow
def test_a_video_gives_what_its_pictures_give(tmp_path):
    take = small_take(STRETCHED)
    corners = clicked_corners(take, tmp_path / "c.json", "x.png")
    path = write_video(take, tmp_path / "t.avi", only=STRETCH)
    video = choose(open_take(path), Click(STRETCH.index(take.clicked), corners))
    assert video.frames_read == len(STRETCH)
    assert Planted.BEST in [take.planted[STRETCH[one.measures.number]] for one in video.ranked[:3]]


@pytest.mark.slow
def test_the_same_take_gives_the_same_bytes(tmp_path):
    take = small_take(STRETCHED)
    click = Click(STRETCH.index(take.clicked), clicked_corners(take, Path("c.json"), "p.png"))
    folders = [write_pictures(take, tmp_path / place / "take", only=STRETCH) for place in "ab"]
    once, again = (chosen_text(choose(open_take(folder), click)) for folder in folders)
    assert once == again


@pytest.mark.slow
def test_without_a_click_nothing_is_judged(tmp_path):
    take = small_take(11)
    found = choose(open_take(write_pictures(take, tmp_path / "t", clicked=False)), None)
    assert {one.standing for one in found.ranked} == {Standing.UNJUDGED}
    assert CLICK_ONCE in found.notes and not found.fit
    count = len(frames_of(take, Planted.CLIPPED))
    last = {take.planted[one.measures.number] for one in found.ranked[-count:]}
    assert last == {Planted.CLIPPED}


@pytest.mark.slow
def test_frames_are_counted_once_and_landmarks_are_told(tmp_path):
    take = small_take(STRETCHED)
    folder = write_pictures(take, tmp_path / "t", only=STRETCH)
    landmarks = {"subnasale": LandmarkPoint(80.0, 20.0)}
    corners = replace(clicked_corners(take, tmp_path / "c.json", "p.png"), landmarks=landmarks)
    done = []
    clicked = STRETCH.index(take.clicked)
    found = choose(open_take(folder), Click(clicked, corners), told=done.append)
    assert sorted(_by_number(found)) == list(range(len(STRETCH)))
    assert sum(done) == len(STRETCH) + clicked
    assert any("landmarks are not carried" in note for note in found.notes)


@pytest.mark.slow
def test_a_click_of_another_size_or_beyond_the_end_is_refused(tmp_path):
    take = small_take(11)
    folder = write_pictures(take, tmp_path / "t")
    corners = clicked_corners(take, tmp_path / "c.json", "p.png")
    with pytest.raises(InputError, match="clicked in 17 x 136"):
        choose(open_take(folder), Click(0, replace(corners, width_px=17)))
    with pytest.raises(InputError, match="is not there or cannot be read"):
        choose(open_take(folder), Click(400, corners))


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_teeth_apart_behind_an_overlap_do_not_stand_before_the_best(chosen, seed):
    take, found = small_take(seed), _by_number(chosen[seed])
    first_best = min(found[number].rank for number in frames_of(take, Planted.BEST))
    for number in frames_of(take, Planted.AJAR):
        assert found[number].rank > first_best
