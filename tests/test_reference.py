"""docs/reference/ says what the code says, and the schemas hold for every file of the demo."""

from __future__ import annotations

import importlib.util
import json
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from bite.check.result import result_mapping
from bite.check.steps import check_frame
from bite.cli import main
from bite.files.bundle import load_frame
from bite.files.result import result_text
from bite.files.schema import KINDS, schema_of

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "demo_bite"
FILES = {
    "frame": "*/*.bite.toml",
    "rig": "*/rig*.toml",
    "cast": "cast.toml",
    "device": "*.device.toml",
    "corners": "*/*.corners.json",
}


def _maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_reference", ROOT / "docs" / "make_reference.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _table(path: Path) -> dict[str, Any]:
    text = path.read_text(encoding="utf-8")
    table: dict[str, Any] = tomllib.loads(text) if path.suffix == ".toml" else json.loads(text)
    return table


def test_no_page_is_stale() -> None:
    assert _maker().main(["--check"]) == 0, "run python docs/make_reference.py"


def test_a_changed_limit_makes_its_page_stale(monkeypatch: pytest.MonkeyPatch) -> None:
    from bite.check.checks import sharp

    before = _maker().pages()["checks.md"]
    monkeypatch.setattr(sharp, "FAIL_MM", sharp.FAIL_MM + 0.1)
    assert _maker().pages()["checks.md"] != before


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_has_a_schema(kind: str, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["schema", kind]) == 0
    schema = json.loads(capfdbinary.readouterr().out)
    Draft202012Validator.check_schema(schema)
    assert schema == schema_of(kind)


@pytest.mark.parametrize(("kind", "pattern"), FILES.items())
def test_every_demo_file_keeps_to_its_schema_and_a_misspelt_key_does_not(kind: str, pattern: str) -> None:
    validator = Draft202012Validator(schema_of(kind))
    paths = sorted(DEMO.glob(pattern))
    assert paths
    for path in paths:
        table = _table(path)
        assert list(validator.iter_errors(table)) == [], path
        assert not validator.is_valid({**table, "nmae": "x"})


@pytest.mark.slow
@pytest.mark.parametrize(
    "frame",
    ["plover/plover-b02", "turnstone/turnstone-d04", "godwit/godwit-e06", "sanderling/sanderling-a01"],
)
def test_results_hold_the_keys_that_the_schema_names_and_no_others(frame: str) -> None:
    found = check_frame(load_frame(DEMO / f"{frame}.bite.toml"), tolerance_mm=0.5)
    result = json.loads(result_text(result_mapping(found)))
    assert list(Draft202012Validator(schema_of("result")).iter_errors(result)) == []


def test_a_kind_that_is_none_is_refused_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "teeth"]) == 2
    assert capsys.readouterr().err.count("\n") == 1
