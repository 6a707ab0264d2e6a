"""Every way this package says no. One line, in the order a person needs it."""

from __future__ import annotations

from pathlib import Path


class BiteError(Exception):
    """Root of all errors raised on purpose. Anything else that escapes is a bug."""


class InputError(BiteError):
    """A file or a value that cannot be used as it stands.

    Parameters
    ----------
    file : path or str
        The file at fault, as the user named it.
    where : str
        The place inside it: a key, a line, a pixel, a vertex. Empty for the file as a whole.
    what : str
        What was found and what was needed.
    mend : str
        What to do about it.

    Examples
    --------
    >>> print(InputError("rig.toml", "[dial] positive", "got 'left', needed 'back'", "correct it"))
    rig.toml: [dial] positive: got 'left', needed 'back'; correct it
    """

    def __init__(self, file: str | Path, where: str, what: str, mend: str) -> None:
        self.file, self.where, self.what, self.mend = str(file), where, what, mend
        place = f"{self.file}: {where}" if where else self.file
        super().__init__(" ".join(f"{place}: {what}; {mend}".split()))

    def __reduce__(self) -> tuple[type[InputError], tuple[str, str, str, str]]:
        return type(self), (self.file, self.where, self.what, self.mend)


class DegenerateGeometryError(BiteError):
    """Points, rays or surfaces that do not determine what was asked of them."""


class NotConvergedError(BiteError):
    """An iteration that ended without meeting its own stop rule."""
