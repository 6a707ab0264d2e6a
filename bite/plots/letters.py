"""Names in any script on paper: a font that has the letters, the order they are read in, or Latin letters.

Until version 3.11 matplotlib draws letters in the order of the file, from left to right, and does not join
them. For those Hebrew and Arabic are brought into the order of the eye here, and Arabic letters into the
forms in which they join (as the Unicode character database names them). Later ones do so by themselves, and
only need to know that our sentences run from left to right even where a name at their start does not. What
no installed font has is told in Latin letters by its Unicode name: kana, hangul and alphabets by their
sounds, ideographs by their numbers, so that two names that differ still differ on paper.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure
    from matplotlib.text import Text

HOUSE_FONT = "DejaVu Sans"
_NO_FONT = "Last Resort"
"""Fonts that have a box for every letter have none."""
_DONE = "_bite_letters_done"
_LEFT_TO_RIGHT = "\u200e"
_SHAPES_FROM = (3, 11)
"""Version of matplotlib that lays out complex scripts by itself."""
_FORM = {"<isolated>": 0, "<final>": 1, "<initial>": 2, "<medial>": 3}
_PRESENTATION = (*range(0xFB50, 0xFDF0), *range(0xFE70, 0xFEFD))
_PAIRED = str.maketrans("()[]{}<>«»", ")(][}{><»«")


def make_readable(figure: Figure) -> None:
    """Bring every text of a figure into letters that can be drawn, and give it fonts that have them.

    Call it once, after all texts are placed and before the figure is saved, to PNG or to PDF. ``+-`` becomes
    ``±``.
    """
    for text in _texts(figure):
        words = text.get_text()
        if not words or getattr(text, _DONE, None) == words:
            continue
        drawn, fonts = on_paper(words)
        setattr(text, _DONE, drawn)
        if drawn != words:
            text.set_text(drawn)
        if len(fonts) > 1:
            text.set_fontfamily([*fonts])


def _texts(artist: Artist) -> Iterator[Text]:
    """Give all texts of an artist; axes that are off draw no ticks, and asked for them would make them."""
    from matplotlib.axis import Axis
    from matplotlib.text import Text

    if isinstance(artist, Text):
        yield artist
    for child in artist.get_children():
        if not isinstance(child, Axis) or child.axes.axison:
            yield from _texts(child)


def on_paper(words: str) -> tuple[str, tuple[str, ...]]:
    """Give a text as it is drawn, and the fonts to draw it with, the house font first.

    Examples
    --------
    >>> on_paper("offset 1.42 +- 0.13 mm")
    ('offset 1.42 ± 0.13 mm', ('DejaVu Sans',))
    """
    words = words.replace("+-", "±")
    if words.isascii():
        return words, (HOUSE_FONT,)
    fonts = [HOUSE_FONT]
    drawn = []
    for letter in unicodedata.normalize("NFC", words):
        if letter == "\n" or _has(HOUSE_FONT, letter):
            drawn.append(letter)
        elif font := _font_with(letter):
            drawn.append(letter)
            if font not in fonts:
                fonts.append(font)
        else:
            drawn.append(in_latin(letter))
    lines = "".join(drawn).split("\n")
    ordered = from_the_left if _shapes_itself() else in_order_of_the_eye
    return "\n".join(ordered(line) for line in lines), tuple(fonts)


def in_latin(letter: str) -> str:
    """Tell a letter by its Unicode name, in Latin letters; different letters stay different.

    Examples
    --------
    >>> in_latin("か"), in_latin("김"), in_latin("田"), in_latin("क")
    ('ka', 'gim', 'u7530·', 'ka')
    """
    if unicodedata.combining(letter) or unicodedata.category(letter) in ("Mn", "Cf"):
        return ""
    name = unicodedata.name(letter, "")
    if not name or "IDEOGRAPH" in name:
        return f"u{ord(letter):04X}·"
    for word in ("SYLLABLE ", "LETTER ", "DIGIT ", "VOWEL SIGN ", "SIGN "):
        if word in name:
            return name.split(word)[-1].lower().replace(" ", "")
    return f"u{ord(letter):04X}·"


def from_the_left(line: str) -> str:
    """Mark a line that holds right-to-left letters as one that itself runs from left to right.

    Examples
    --------
    >>> from_the_left("שרה 2: move") == chr(0x200E) + "שרה 2: move"
    True
    """
    return f"{_LEFT_TO_RIGHT}{line}" if any(_is_from_right(letter) for letter in line) else line


def in_order_of_the_eye(line: str) -> str:
    """Bring a line with letters that are read from right to left into the order in which it is drawn.

    The line as a whole runs from left to right, as this project's sentences do: each stretch between two
    right-to-left letters is turned round, numbers and Latin words within it are not. Arabic letters are
    joined first.

    Examples
    --------
    >>> in_order_of_the_eye("שרה 2: move")
    'הרש 2: move'
    """
    if not any(_is_from_right(letter) for letter in line):
        return line
    letters = _joined(line)
    first = next(k for k, letter in enumerate(letters) if _is_from_right(letter))
    last = max(k for k, letter in enumerate(letters) if _is_from_right(letter))
    inside = letters[first : last + 1]
    # a Latin word parts the stretch; numbers and spaces between right-to-left letters do not
    out: list[str] = []
    for left, group in groupby(_runs(inside), key=lambda run: run[0] == "left"):
        runs = list(group)
        pieces = [run if kind == "left" else _turned(run) for kind, run in runs]
        out += pieces if left else [_turned("".join(run for _, run in runs))]
    return letters[:first] + "".join(out) + letters[last + 1 :]


def _is_from_right(letter: str) -> bool:
    return unicodedata.bidirectional(letter) in ("R", "AL")


def _runs(letters: str) -> list[tuple[str, str]]:
    kinds = ["left" if unicodedata.bidirectional(letter) == "L" else "right" for letter in letters]
    runs, start = [], 0
    for k in range(1, len(letters) + 1):
        if k == len(letters) or kinds[k] != kinds[start]:
            runs.append((kinds[start], letters[start:k]))
            start = k
    return runs


def _turned(letters: str) -> str:
    """Turn a stretch round; numbers keep their own order, marks stay behind their letters, brackets turn."""
    units: list[str] = []
    for letter in letters:
        number = letter.isdigit() or letter in ".,"
        joins = units and (
            unicodedata.combining(letter) or (number and letter.isdigit() and units[-1][-1].isdigit())
        )
        if joins:
            units[-1] += letter
        else:
            units.append(letter.translate(_PAIRED))
    return "".join(reversed(units))


@lru_cache(maxsize=1)
def _shapes_itself() -> bool:
    import matplotlib

    return tuple(int(part) for part in matplotlib.__version__.split(".")[:2]) >= _SHAPES_FROM


@lru_cache(maxsize=1)
def _forms() -> dict[str, list[str]]:
    """Give for each Arabic letter its forms: alone, at the end, at the start, within; empty for none."""
    found: dict[str, list[str]] = {}
    for number in _PRESENTATION:
        form, *letters = unicodedata.decomposition(chr(number)).split() or [""]
        if form in _FORM and len(letters) == 1:
            found.setdefault(chr(int(letters[0], 16)), [""] * 4)[_FORM[form]] = chr(number)
    return found


def _joined(line: str) -> str:
    """Put each Arabic letter into the form in which it joins its neighbours, where the font has that form."""
    forms = _forms()
    if not any(letter in forms for letter in line):
        return line
    solid = [k for k, letter in enumerate(line) if not unicodedata.combining(letter)]
    out = list(line)
    for place, k in enumerate(solid):
        own = forms.get(line[k])
        if own is None:
            continue
        before = line[solid[place - 1]] if place else ""
        after = line[solid[place + 1]] if place + 1 < len(solid) else ""
        from_before = bool(forms.get(before, [""] * 4)[2]) and bool(own[1])
        to_after = bool(own[2]) and bool(forms.get(after, [""] * 4)[1])
        shape = own[(3 if to_after else 1) if from_before else (2 if to_after else 0)]
        if shape and (_has(HOUSE_FONT, shape) or _font_with(shape)):
            out[k] = shape
    return "".join(out)


@lru_cache(maxsize=4096)
def _has(font: str, letter: str) -> bool:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    # a list, since a name alone is read as a pattern, in which "-" and ":" part it
    return bool(get_font(findfont(FontProperties(family=[font]))).get_char_index(ord(letter)))


@lru_cache(maxsize=4096)
def _font_with(letter: str) -> str:
    """Give the name of an installed font that has a letter, sans serif and upright first; empty for none."""
    from matplotlib.font_manager import fontManager, get_font

    def rank(entry: object) -> tuple[bool, bool, str]:
        name, style = str(getattr(entry, "name", "")), str(getattr(entry, "style", ""))
        return style != "normal", "sans" not in name.lower() and "gothic" not in name.lower(), name

    seen: set[str] = set()
    fonts: Sequence[object] = sorted(fontManager.ttflist, key=rank)
    for entry in fonts:
        name = str(getattr(entry, "name", ""))
        if name in seen or name.startswith(_NO_FONT):
            continue
        seen.add(name)
        try:
            if get_font(str(getattr(entry, "fname", ""))).get_char_index(ord(letter)):
                return name
        except (OSError, RuntimeError):
            continue
    return ""
