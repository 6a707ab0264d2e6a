"""TOML and JSON into plain tables, and tables against a form; the first problem becomes one line."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

from bite.errors import InputError
from bite.files.source import read_text

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

    from bite.files.forms import Form

AnyForm = TypeVar("AnyForm", bound="Form")
MOST_PARTS = 32
"""Dotted parts of a key; no format here has four, and reading one takes time by their square."""
_QUOTED = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')
_LONG_KEY = re.compile(rf"(?<![\w-])(?:[\w-]+[ \t]*\.[ \t]*){{{MOST_PARTS - 1}}}")
FORMATS = {
    "bite-frame 1": "a bite frame",
    "bite-rig 1": "a rig",
    "bite-cast 1": "a cast",
    "bite-corners 1": "a corner file",
    "bite-result 1": "a result",
    "bite-history 1": "a history",
    "bite-cast-result 1": "the result of a cast",
}


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file written by a person.

    Raises
    ------
    InputError
        As `read_text`, and where the text is not TOML, with the line.
    """
    text = read_text(path, limit_bytes=1_000_000)
    if _LONG_KEY.search(_QUOTED.sub("s", text)):
        what = f"a key of {MOST_PARTS} dotted parts or more"
        raise InputError(path, "", what, "keep to the tables this format has")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError(path, "", "tables nested too deeply", "keep to the tables this format has") from None
    except ValueError as error:
        reason, _, place = str(error).partition(" (at ")
        where = place.rstrip(")")
        raise InputError(
            path, where, f"not TOML: {reason}", "correct the line (strings need quotes)"
        ) from None


def read_json(path: Path) -> dict[str, Any]:
    """Read a JSON file whose top is an object. Doubled keys, NaN and infinity are refused.

    Raises
    ------
    InputError
        As `read_text`, and where the text is not JSON, with the line.
    """
    return parse_json(path, read_text(path))


def parse_json(path: Path, text: str) -> dict[str, Any]:
    """Parse JSON text that was read from ``path``; see `read_json`."""

    def refuse(constant: str) -> None:
        raise ValueError(f"{constant} is not a number JSON knows")

    mend = "write the file again with the tool it came from"
    try:
        table = json.loads(text, object_pairs_hook=_no_doubles, parse_constant=refuse)
        json.dumps(table, ensure_ascii=False).encode("utf-8")
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError(path, where, f"not JSON: {error.msg}", mend) from None
    except RecursionError:
        raise InputError(path, "", "nested too deeply", mend) from None
    except UnicodeEncodeError:
        raise InputError(path, "", "holds half a character (a lone surrogate)", mend) from None
    except ValueError as error:
        raise InputError(path, "", f"not usable JSON: {shown(str(error))}", mend) from None
    if not isinstance(table, dict):
        raise InputError(path, "", f"got a {type(table).__name__} at the top, needed an object", mend)
    return table


def check_format(path: Path, table: dict[str, Any], needed: str) -> None:
    """Refuse a file that does not carry the format tag it should."""
    found = table.get("format")
    if found == needed:
        return
    if found is None:
        what = f"missing, needed {needed!r}"
        raise InputError(path, "format", what, f'if it is {FORMATS[needed]}, write format = "{needed}"')
    also = f" ({FORMATS[found]})" if isinstance(found, str) and found in FORMATS else ""
    what = f"got {shown(found)}{also}, needed {needed!r} ({FORMATS[needed]})"
    raise InputError(path, "format", what, "name the right file, or correct its format")


def check_form(path: Path, table: object, form: type[AnyForm], *, inside: str = "") -> AnyForm:
    """Hold a table against a form.

    Parameters
    ----------
    path : Path
        The file, for the message.
    table : object
        What was parsed.
    form : a class of `bite.files.forms`
    inside : str
        The table's place in the file, for the message.

    Raises
    ------
    InputError
        For the first problem; an unknown key comes first, since a misspelt key is also a missing one.
    """
    from pydantic import ValidationError

    try:
        return form.model_validate(table)
    except ValidationError as error:
        problems = error.errors(include_url=False, include_context=False)
    except (RecursionError, OverflowError, ValueError) as error:
        raise InputError(path, inside, f"cannot be used ({error})", "keep to plain values") from None
    unknown = [p for p in problems if p["type"] == "extra_forbidden"]
    first = _as_input_error(path, form, (unknown or problems)[0], inside)
    also = [_where(p["loc"], inside) for p in problems[1:] if p["type"] == "missing"]
    if first.what == "missing" and also:
        raise InputError(path, first.where, f"missing, and so are {', '.join(also)}", first.mend)
    raise first


def nearest(word: str, known: Iterable[str]) -> str:
    """Say which known word was probably meant, or which there are.

    Examples
    --------
    >>> nearest("unit_m", ["unit_mm", "view"])
    "did you mean 'unit_mm'?"
    >>> nearest("zzz", ["a", "b"])
    'known are a, b'
    """
    names = list(known)
    close = difflib.get_close_matches(word[:100], names, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}?"
    if not names:
        return "there are none to choose from"
    listed = ", ".join(shown(n, quote=False) for n in names[:20])
    return f"known are {listed}" + (f" and {len(names) - 20} more" if len(names) > 20 else "")


def check_names(path: Path, where: str, names: Iterable[str], known: Iterable[str], kind: str) -> None:
    """Refuse a name that is not among the known ones."""
    known = list(known)
    for name in names:
        if name not in known:
            raise InputError(path, where, f"unknown {kind} {shown(name)}", nearest(name, known))


def shown(value: object, *, quote: bool = True) -> str:
    """Show a value from a file in a message: one line, printable, at most 80 characters."""
    try:
        text = repr(value) if quote or not isinstance(value, str) or not value.isprintable() else value
    except (ValueError, RecursionError):  # integers beyond Python's digit limit, endless nesting
        text = f"a {type(value).__name__} too long to show"
    return text if len(text) <= 80 else text[:77] + "..."


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key, value in pairs:
        if key in table:
            raise ValueError(f"key {shown(key)} stands there twice")
        table[key] = value
    return table


def _as_input_error(path: Path, form: type[Form], problem: ErrorDetails, inside: str) -> InputError:
    place = problem["loc"]
    key = str(place[-1]) if place else ""
    where = _where(place, inside)
    if problem["type"] == "extra_forbidden":
        known = list(_fields_at(form, place[:-1]))
        return InputError(path, where, f"unknown key {shown(key)}", nearest(key, known))
    ask = _description(form, place)
    if problem["type"] == "missing":
        return InputError(path, where, "missing", f"write {ask}" if ask else "write it")
    needed = problem["msg"].replace("Input should be", "needed").replace("Input should have", "needed")
    what = f"got {shown(problem['input'])}, {needed[:1].lower()}{needed[1:]}"
    if problem["type"] == "literal_error" and isinstance(problem["input"], str):
        choices = re.findall(r"'([^']+)'", problem["msg"])
        if difflib.get_close_matches(problem["input"][:100], choices, n=1, cutoff=0.6):
            return InputError(path, where, what, nearest(problem["input"], choices))
    return InputError(path, where, what, f"write {ask}" if ask else "correct it")


def _where(place: tuple[int | str, ...], inside: str) -> str:
    parts: list[str] = [inside] if inside else []
    for piece in place:
        if isinstance(piece, int) and parts:
            parts[-1] += f" {piece + 1}"
        else:
            parts.append(shown(str(piece), quote=False))
    return parts[0] if len(parts) == 1 else f"[{'.'.join(parts[:-1])}] {parts[-1]}" if parts else ""


def _description(form: type[Form], place: tuple[int | str, ...]) -> str:
    for length in range(len(place), 0, -1):
        field = _fields_at(form, place[: length - 1]).get(str(place[length - 1]))
        if field is not None:
            return str(field.description or "")
    return ""


def _fields_at(form: type[Form], place: tuple[int | str, ...]) -> dict[str, Any]:
    """Give the fields of the form that lies at a place inside another form; none where there is no form."""
    from pydantic import BaseModel

    current: type[BaseModel] | None = form
    for piece in place:
        if current is None:
            return {}
        field = current.model_fields.get(str(piece))
        if field is not None:
            current = _form_inside(field.annotation)
    return dict(current.model_fields) if current is not None else {}


def _form_inside(annotation: object) -> Any:
    from pydantic import BaseModel

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((f for f in map(_form_inside, get_args(annotation)) if f is not None), None)
