"""Write docs/reference/ from the code: keys of files, checks with their limits, verdicts and exit codes.

python docs/make_reference.py            writes the pages
python docs/make_reference.py --check    says which page is not what the code says, and fails
"""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import re
import sys
from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "docs" / "reference"
MADE = "<!-- made by docs/make_reference.py from the code; change the code, not this page -->\n"
UNITS = {
    "_mm2": "mm²", "_mm": "mm", "_px": "px", "_deg": "degrees", "_per_m": "1/m",
}  # fmt: skip
"""Unit of a number by the ending of its name; the longest ending that fits counts."""
KIND_TITLES = {
    "frame": "Bite frame, `NAME.bite.toml`, `bite-frame 1`",
    "rig": "Rig, `rig.toml`, `bite-rig 1`",
    "cast": "Cast, `cast.toml`, `bite-cast 1`",
    "device": "Device, `NAME.device.toml`: `[device.NAME]` tables, or the keys of one device at the top",
    "corners": "Corners, `NAME.corners.json`, `bite-corners 1`",
    "history": "History of moves, `PERFORMER.history.json`, `bite-history 1`",
    "result": "Result, `NAME.result.json`, `bite-result 1`",
}
VERDICTS = {
    "leave": "the teeth stand within tolerance, with a chance of at least 80 %",
    "move": "set the dial to the value given",
    "usable": (
        "no solved model was given; the clicks lie on enamel, lit, sharp and large enough, and no opening "
        "shows; the headline says where the rows cannot be seen to meet"
    ),
    "beyond": "the dial ends before the need does",
    "unsure": "the offset is not known to within the tolerance, or a check failed; says what would settle it",
    "reshoot": "the frame cannot register a bite, and no fit can mend that",
}
EXITS = {
    "FINE": "nothing needs a person",
    "PERSON": "something does: a verdict of `beyond`, `unsure` or `reshoot`",
    "BAD_INPUT": "bad input or usage; one line on stderr says which file, where, what, and what to do",
    "FAULT": "a fault of the program itself",
    "INTERRUPTED": "an interrupt from the keyboard",
    "NO_READER": "whoever read the output went away",
}


def pages() -> dict[str, str]:
    """Give the text of every page by its file name."""
    return {
        "README.md": _front(),
        "files.md": _files(),
        "result.md": _result(),
        "checks.md": _checks(),
        "verdicts.md": _verdicts(),
    }


def _front() -> str:
    return (
        "# Reference\n\n"
        + MADE
        + "\nEvery key, check, verdict and exit code, written from the code itself.\n\n"
        "- [files.md](files.md): the files that people and tools write\n"
        "- [result.md](result.md): the result file, key by key\n"
        "- [checks.md](checks.md): what is checked, with limits and their sources\n"
        "- [verdicts.md](verdicts.md): verdicts and exit codes\n\n"
        "`bite schema KIND` prints the JSON Schema of a file for editors and other tools. Camera files are\n"
        "OpenCV FileStorage and depth profiles are CSV; both are at the end of files.md.\n"
    )


def _files() -> str:
    from bite.files.schema import KINDS, forms_of

    parts = ["# Files\n\n" + MADE]
    parts.append(
        "\nPaths inside a file are relative to it. An unknown key is an error that names the nearest known. "
        "Nothing that is\nmissing is guessed: what is needed has no default. UTF-8 text.\n"
    )
    for kind in KINDS:
        if kind == "result":
            continue
        form = forms_of(kind)[0]
        parts.append(f"\n## {KIND_TITLES[kind]}\n")
        parts.extend(_tables(form))
    return "".join(parts) + _by_hand()


def _by_hand() -> str:
    from bite.files.profile import REGIONS

    return f"""
## Camera, `NAME.camera.yaml` or `.json`

An OpenCV FileStorage file with the names of OpenCV's own calibration samples.

| key | type | unit | meaning |
|---|---|---|---|
| `image_width`, `image_height` | integer | px | size of the calibrated picture |
| `camera_matrix` | 3 x 3 | px | focal lengths and principal point; the top-left pixel's centre is (0, 0) |
| `distortion_coefficients` | 4, 5, 8, 12 or 14 numbers | | k1 k2 p1 p2 k3 ... as OpenCV orders them |
| `rotation` | 3 x 3 | | of a view that is not the reference: x_view = R x_reference + T |
| `translation_mm` | 3 x 1 | mm | its T |

## Depth profile, `NAME.csv`

A header, then one row a reading along the line.

| column | unit | meaning |
|---|---|---|
| `along_mm` | mm | place along the line, strictly rising or falling |
| `depth_mm` | mm | measured distance along the optical axis |
| `sigma_mm` | mm | its sd; optional |
| `region` | | {", ".join(f"`{name}`" for name in REGIONS)}; optional, needed for an offset |
| `solved_depth_mm` | mm | the solved model along the same line; optional, needed for an offset |
"""


def _result() -> str:
    from bite.files.result_form import ResultForm

    head = (
        "# Result\n\n"
        + MADE
        + "\n"
        + KIND_TITLES["result"]
        + ". What was not measured is null, never 0. The same "
        "inputs give the same bytes.\n"
    )
    return head + "".join(_tables(ResultForm, written=True))


def _tables(form: Any, place: str = "", *, written: bool = False) -> Iterator[str]:
    """Give the form's table, then those of the forms inside it; a file the program wrote may hold null."""
    inner: dict[str, Any] = {}
    doc = inspect.getdoc(form) or ""
    if place:
        yield f"\n### `{place}`\n"
    yield f"\n{doc.splitlines()[0]}\n\n| key | type | unit | default | meaning |\n|---|---|---|---|---|\n"
    for name, field in form.model_fields.items():
        told, below, many = _type_told(field.annotation)
        if below is not None:
            inner[f"{place}.{name}".lstrip(".") + many] = below
        default = "optional" if field.default in (None, "") or field.default_factory else f"{field.default}"
        if field.is_required():
            default = "always there" if written else "needed"
        if not written:
            told = told.removesuffix(" or null")
        yield f"| `{name}` | {told} | {_unit(name)} | {default} | {_cell(field.description or '')} |\n"
    for where, below in inner.items():
        yield from _tables(below, where, written=written)


def _unit(name: str) -> str:
    ends = [end for end in UNITS if name.lower().endswith(end)]
    if name.lower().endswith(("_unit_sd",)):
        return "mm"
    return UNITS[max(ends, key=len)] if ends else ""


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def _type_told(annotation: Any) -> tuple[str, Any, str]:
    """Give a type in words, the form inside it if any, and what its place is followed by."""
    from bite.files.forms import Form

    origin = get_origin(annotation)
    if origin is Annotated:
        return _type_told(get_args(annotation)[0])
    if origin in (Union, UnionType):
        found = [_type_told(part) for part in get_args(annotation) if part is not NoneType]
        below = next(((form, many) for _, form, many in found if form is not None), (None, ""))
        null = " or null" if NoneType in get_args(annotation) and below[0] is None else ""
        return " or ".join(dict.fromkeys(told for told, _, _ in found)) + null, below[0], below[1]
    if origin is Literal:
        return ", ".join(f'`"{value}"`' for value in get_args(annotation)), None, ""
    if origin is list:
        told, form, _ = _type_told(get_args(annotation)[0])
        return f"list of {told}" if form is None else "list of tables", form, "[]"
    if origin is dict:
        told, form, _ = _type_told(get_args(annotation)[1])
        return f"table of {told}" if form is None else "table of tables", form, ".NAME"
    if isinstance(annotation, type) and issubclass(annotation, Form):
        return "table", annotation, ""
    names = {str: "text", float: "number", int: "integer", bool: "true or false"}
    return names.get(annotation, "see meaning"), None, ""


def _checks() -> str:
    parts = [
        "# Checks\n\n" + MADE + "\nEach check gives one finding: `ok`, `note`, `warn` or `fail`. A `fail` "
        "keeps the verdict from `leave` and `move`.\nLimits are named as in the code.\n"
    ]
    folders = [ROOT / "bite" / "check" / "checks", ROOT / "bite" / "together"]
    for path in sorted(path for folder in folders for path in folder.glob("*.py")):
        told = _check_told(path)
        if told:
            parts.append(told)
    return "".join(parts)


def _check_told(path: Path) -> str:
    module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    tree = ast.parse(path.read_text(encoding="utf-8"))
    codes = [value for name, value, _ in _constants(tree, module) if re.fullmatch(r"(\w+_)?CODE", name)]
    codes += _codes_in_calls(tree)
    if not codes:
        return ""
    question = (module.__doc__ or "").splitlines()[0].removesuffix(" One finding.")
    lines = [f"\n## {', '.join(f'`{code}`' for code in dict.fromkeys(codes))}\n\n{question}\n"]
    source = getattr(module, "_SOURCE", "")
    if source:
        lines.append(f"\nSource of the limits: {source}.\n")
    limits = [
        (name, value, why) for name, value, why in _constants(tree, module)
        if isinstance(value, (int, float)) and not isinstance(value, bool)
    ]  # fmt: skip
    if limits:
        lines.append("\n| limit | value | unit | why |\n|---|---|---|---|\n")
        for name, value, why in limits:
            words = name.strip("_").lower().replace("_", " ")
            lines.append(f"| {words} | {value:g} | {_unit(name)} | {_cell(why)} |\n")
    return "".join(lines)


def _codes_in_calls(tree: ast.Module) -> list[str]:
    """Give codes written as the first argument of Finding itself."""
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and node.args]
    named = [c.args[0] for c in calls if isinstance(c.func, ast.Name) and c.func.id == "Finding"]
    return [n.value for n in named if isinstance(n, ast.Constant) and isinstance(n.value, str)]


def _constants(tree: ast.Module, module: Any) -> Iterator[tuple[str, Any, str]]:
    """Give each module constant with its value and the text that stands beneath it."""
    for node, after in zip(tree.body, [*tree.body[1:], None], strict=True):
        if not isinstance(node, ast.Assign):
            continue
        below = after.value if isinstance(after, ast.Expr) else None
        told = below.value if isinstance(below, ast.Constant) else ""
        why = inspect.cleandoc(told).replace("\n", " ") if isinstance(told, str) else ""
        for target in node.targets:
            names = target.elts if isinstance(target, ast.Tuple) else [target]
            for name in names:
                if isinstance(name, ast.Name) and name.id.strip("_").isupper():
                    yield name.id, getattr(module, name.id), why


def _verdicts() -> str:
    from bite.check.decision import Verdict
    from bite.check.finding import Severity
    from bite.cli.exits import Exit, exit_for

    lines = ["# Verdicts and exit codes\n\n" + MADE + "\n| verdict | meaning | exit code |\n|---|---|---|\n"]
    lines += [f"| `{v}` | {VERDICTS[v]} | {int(exit_for([v]))} |\n" for v in Verdict]
    lines.append("\n| severity of a finding |\n|---|\n")
    lines += [f"| `{severity}` |\n" for severity in Severity]
    lines.append("\n| exit code | meaning |\n|---|---|\n")
    lines += [f"| {int(code)} | {EXITS[code.name]} |\n" for code in _members(Exit)]
    lines.append(
        "\nOf several frames the worst code counts: a fault, then bad input, then a person's need.\n"
    )
    return "".join(lines)


def _members(kind: type[Enum]) -> list[Any]:
    return list(kind)


def main(argv: list[str] | None = None) -> int:
    """Write the pages, or say which are stale."""
    parser = argparse.ArgumentParser(description="Write docs/reference/ from the code.")
    parser.add_argument("--check", action="store_true", help="write nothing; fail where a page is stale")
    args = parser.parse_args(argv)
    stale = []
    for name, text in pages().items():
        path = FOLDER / name
        if args.check:
            if not path.is_file() or path.read_text(encoding="utf-8") != text:
                stale.append(name)
        else:
            FOLDER.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
    if stale:
        print(f"stale: {', '.join(stale)}; run python docs/make_reference.py", file=sys.stderr)
    return 1 if stale else 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    sys.exit(main())
