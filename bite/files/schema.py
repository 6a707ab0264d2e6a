"""The form of each file as JSON Schema, for editors and other tools.

The dialect is JSON Schema 2020-12, as pydantic writes it. Rules between keys (one of two, files that must
exist, sizes that must agree) are with the readers and not in a schema.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bite.files.forms import Form

KINDS = ("frame", "rig", "cast", "device", "corners", "history", "result")
"""Files that have a schema, as `bite schema KIND` names them."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"


def forms_of(kind: str) -> tuple[type[Form], ...]:
    """Give the forms of a kind of file: a device file may hold named tables, or one device at its top."""
    from bite.files import forms, result_form

    forms_by_kind: dict[str, tuple[type[Form], ...]] = {
        "frame": (forms.FrameForm,),
        "rig": (forms.RigForm,),
        "cast": (forms.CastForm,),
        "device": (forms.DeviceTablesForm, forms.DeviceForm),
        "corners": (forms.CornersForm,),
        "history": (forms.HistoryForm,),
        "result": (result_form.ResultForm,),
    }
    return forms_by_kind[kind]


def schema_of(kind: str) -> dict[str, Any]:
    """Give the JSON Schema of a kind of file; the same each time.

    Parameters
    ----------
    kind : str, one of `KINDS`

    Examples
    --------
    >>> schema_of("corners")["required"]
    ['format', 'image']
    """
    from pydantic import TypeAdapter

    form, *others = forms_of(kind)
    either = form
    for other in others:
        either = either | other  # type: ignore[assignment]  # a union of classes is what the adapter takes
    return {"$schema": DIALECT, **TypeAdapter(either).json_schema()}
