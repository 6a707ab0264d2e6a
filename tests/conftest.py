"""Put the project's folder on the path: the demo's scenes serve the tests but are not installed."""

import os
import shutil
import sys
import tempfile
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest

# as the command line does, before anything loads them: threads inside small matrices cost more than they give
for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))


def pytest_configure(config: pytest.Config) -> None:
    """Make the folder of `tests.once`; processes that this one starts find it in their environment."""
    if not hasattr(config, "workerinput"):
        os.environ["BITE_TESTS_RUN"] = tempfile.mkdtemp(prefix="bite-tests-")
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False  # by their count of tests, the longest files would come last


LONGEST = (
    "tests/worlds/test_sd_holds.py", "tests/cast/test_together.py", "tests/fuzz/test_entry.py",
    "tests/cast/test_disturbed.py", "tests/check/test_check.py", "tests/cast/test_on_a_cluster.py",
    "tests/device/test_measured.py", "tests/together/test_together.py",
)  # fmt: skip
"""Files that take longest, longest first: two processes that share the files then end together."""


@pytest.hookimpl(wrapper=True)
def pytest_collect_file() -> Generator[None, list[pytest.Collector], list[pytest.Collector]]:
    """Look for no examples in docstrings of tests, which have none: those of the program are run."""
    found = yield
    return [each for each in found if type(each).__name__ != "DoctestModule"]


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first."""
    places = {name: number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.nodeid.partition("::")[0], len(LONGEST)))


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove that folder."""
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop("BITE_TESTS_RUN"), ignore_errors=True)


@pytest.fixture(scope="session", autouse=True)
def warm_workers() -> Iterator[None]:
    """Let casts that are run inside this process fork their workers from one that has imported everything."""
    from tests.warm_workers import Warm

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("bite.cast.runner.workers.get_context", Warm)
        yield
