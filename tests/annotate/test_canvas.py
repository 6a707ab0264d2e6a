"""Toolkits that cannot open a window say so in a line, and take nothing down with them."""

import pytest

from bite.annotate.toolkit.canvas import NoWindowError, open_canvas, try_qt_apart


def test_a_qt_that_cannot_start_is_a_reason() -> None:
    with pytest.raises(RuntimeError, match="No module named 'no_such_qt'"):
        try_qt_apart("no_such_qt")


def test_a_qt_that_aborts_its_process_leaves_ours_alone(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "dying_qt"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "QtWidgets.py").write_text(
        "import os, sys\nprint('qt.qpa.plugin: libxcb-cursor0 is needed', file=sys.stderr, flush=True)\n"
        "print('then some lines more', file=sys.stderr, flush=True)\nos.abort()\n"
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(RuntimeError, match="libxcb-cursor0 is needed"):
        try_qt_apart("dying_qt")


def test_without_any_toolkit_it_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(backend: str, *rest: object) -> None:
        raise RuntimeError(f"{backend} is\nnot here")

    monkeypatch.setattr("bite.annotate.toolkit.canvas._opened", fails)
    with pytest.raises(NoWindowError) as told:
        open_canvas("a", (100, 100))
    assert "\n" not in str(told.value) and "--browser" in str(told.value)
    assert "QtAgg is not here" in str(told.value)
