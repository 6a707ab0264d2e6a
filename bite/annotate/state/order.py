"""Which corner or landmark comes next, and how to name it so that nobody has to know tooth numbers."""

from __future__ import annotations

from collections.abc import Container

from bite.geometry.teeth import CORNERS, DISTAL_CORNERS, LANDMARKS, is_upper

MESIAL_CORNERS = ("11m", "21m", "41m", "31m")
ORDER = DISTAL_CORNERS + MESIAL_CORNERS + LANDMARKS
"""Distal corners first: they are needed; the mesial ones and the landmarks sharpen the answer."""

_LANDMARK_WORDS = {
    "subnasale": "where the nose meets the upper lip, in the middle",
    "labrale_superius": "middle of the upper lip's red border, above",
    "labrale_inferius": "middle of the lower lip's red border, below",
    "cheilion_right": "corner of the mouth, performer's right = LEFT in the picture",
    "cheilion_left": "corner of the mouth, performer's left = RIGHT in the picture",
    "pronasale": "tip of the nose",
    "pogonion": "foremost point of the chin, in the middle",
}


def is_corner(name: str) -> bool:
    """Tell a tooth corner from a landmark."""
    return name in CORNERS


def is_needed(name: str) -> bool:
    """Tell whether the item belongs to the four that every frame needs."""
    return name in DISTAL_CORNERS


def side_in_picture(corner: str) -> str:
    """Give the side of an unmirrored picture on which a corner's tooth stands.

    Examples
    --------
    >>> side_in_picture("11d"), side_in_picture("31m")
    ('LEFT', 'RIGHT')
    """
    return "LEFT" if corner[0] in "14" else "RIGHT"


def words(name: str) -> tuple[str, str]:
    """Name an item in words: what it is, and on whose side.

    Examples
    --------
    >>> words("41d")
    ('lower middle front tooth, outer corner', "performer's right = LEFT in the picture")
    >>> words("pronasale")
    ('tip of the nose', '')
    """
    if not is_corner(name):
        told, _, side = _LANDMARK_WORDS[name].partition(", performer's")
        return told, f"performer's{side}" if side else ""
    tooth = "upper big front tooth" if is_upper(name) else "lower middle front tooth"
    corner = "outer corner" if name.endswith("d") else "corner at the middle"
    whose = "right" if name[0] in "14" else "left"
    return f"{tooth}, {corner}", f"performer's {whose} = {side_in_picture(name)} in the picture"


def short_name(name: str) -> str:
    """Give the name written beside a mark.

    Examples
    --------
    >>> short_name("11d"), short_name("cheilion_left")
    ('11d', 'cheilion left')
    """
    return name.replace("_", " ")


def next_open(done: Container[str], after: str | None = None) -> str | None:
    """Give the first open item in the order, from the place after an item on, then from the start.

    Examples
    --------
    >>> next_open({"11d"}), next_open({"11d", "31d"}, after="41d"), next_open(set(ORDER))
    ('21d', '11m', None)
    """
    start = 0 if after is None else ORDER.index(after) + 1
    for name in ORDER[start:] + ORDER[:start]:
        if name not in done:
            return name
    return None


def neighbour(name: str | None, step: int) -> str:
    """Give the item some places on (or back) in the order, round its end.

    Examples
    --------
    >>> neighbour("11d", 1), neighbour("11d", -1), neighbour(None, 1)
    ('21d', 'pogonion', '11d')
    """
    if name is None:
        return ORDER[0 if step > 0 else -1]
    return ORDER[(ORDER.index(name) + step) % len(ORDER)]
