"""One choice from each small take, made once."""

from pathlib import Path

import pytest

from bite.choose.run import Click, choose
from bite.files.take import open_take
from tests.choose.takes import SEEDS, clicked_corners, small_take, write_pictures


@pytest.fixture(scope="session")
def chosen(tmp_path_factory):
    """Give what was chosen from each small take, by seed."""
    found = {}
    for seed in SEEDS:
        take = small_take(seed)
        folder = write_pictures(take, tmp_path_factory.mktemp("takes") / f"take{seed}")
        click = Click(take.clicked, clicked_corners(take, Path("c.json"), "p.png"))
        found[seed] = choose(open_take(folder), click)
    return found
