"""The protocol of evidence blocks: all that a fit, and any question to it, may ask a body of evidence.

Solver, second opinion, recheck and joint fit know blocks by this alone, so that a new kind of evidence is one
new class. What is written out here holds for readings that are independent of each other and few; a block
with noise of another kind, or with more to say, says so itself.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from bite.fit.causes import Cause
from bite.fit.linear import CLIPPED_VARIANCE, Linear
from bite.geometry.rigid import Array

CLICKS, ON_TEETH, ON_SKIN = "clicks", "depth on teeth", "depth on skin"
"""Kinds of evidence that blocks of this fit hold."""


@dataclass(frozen=True, slots=True)
class Look:
    """One block as a fit left it, and how the offset of that fit follows its readings.

    Parameters
    ----------
    block : Block
    seen : what the block predicted, in its own form
    linear : Linear, of that
    direction : array, shape (k,): how the offset answers to a push on the summed clipped residuals along each
        of the block's unknowns
    """

    block: Block
    seen: Any
    linear: Linear
    direction: Array


class Block(Protocol):
    """A body of evidence.

    ``seen`` is what ``predict`` gave, in a form that only the block itself reads. Slopes by unknowns beyond
    the block's own are "in its form": shape (k, *r), r the shape of its readings.
    """

    __slots__ = ()

    @property
    @abstractmethod
    def name(self) -> str:
        """Kind of evidence: ``depth``, ``corners``, ``lips``."""

    @property
    def extra_precision(self) -> Array:
        """Precision of the prior of each unknown that the block brings itself, shape (j,): none."""
        return np.zeros(0)

    @property
    def shares_with(self) -> str:
        """Name of the block whose own unknowns this one sees too, before any that it brings; or nothing."""
        return ""

    @property
    def many(self) -> bool:
        """Whether the residuals are so many that they themselves tell how many are clipped."""
        return False

    @abstractmethod
    def predict(self, parameters: Array, /) -> Any:
        """Say what should be seen at a point of parameter space, in the block's own form."""

    @abstractmethod
    def linear_of(self, seen: Any, /) -> Linear:
        """Turn a prediction into residuals over sigma and their slopes."""

    def with_noise_from(self, seen: Any, parameters: Array, covariance: Array | None, /) -> Block:
        """Give the block with its noise learned from a prediction made at these parameters: as it is."""
        return self

    def scatter(
        self, seen: Any, directions: Array, extra: Array | None = None, *, whole: bool = False
    ) -> Array:
        """Give D J' W C W J D', shape (d, d), for directions D in the space of the block's unknowns.

        That is the covariance of the gradient along them, under the noise as it really is; with ``whole``,
        under everything that is left in the residuals. ``extra`` is slopes by more unknowns, in the block's
        form; directions then have as many more columns.
        """
        if extra is None:
            return np.asarray(directions @ self.linear_of(seen).information @ directions.T)
        rows, linear = self._rows_along(seen, directions, extra), self.linear_of(seen)
        return np.asarray(rows.T @ (rows * linear.robust_weight[:, None]))

    def clipped_scatter(self, seen: Any, directions: Array, extra: Array) -> Array:
        """Give the covariance of the summed clipped residuals along directions, shape (d, d).

        Parameters
        ----------
        seen : what the block predicted
        directions : array, shape (d, k + e)
        extra : array, slopes by e more unknowns, in the block's form
        """
        rows, linear = self._rows_along(seen, directions, extra), self.linear_of(seen)
        return np.asarray(rows.T @ (rows * (CLIPPED_VARIANCE * linear.weight)[:, None]))

    def _rows_along(self, seen: Any, directions: Array, extra: Array) -> Array:
        slope = self.linear_of(seen).slope
        own, more = np.split(directions, [slope.shape[1]], axis=1)
        return np.asarray(slope @ own.T + self.slope_rows(seen, extra) @ more.T)

    def slope_rows(self, seen: Any, slopes: Array, /) -> Array:
        """Lay slopes in the block's form out beside its residuals, over sigma, shape (m, k)."""
        return slopes.T

    def lower_forward(self, seen: Any, /) -> Array | None:
        """Slopes by the lower row alone forward, in the block's form; None unless both rows show."""
        return None

    @abstractmethod
    def kinds(self, seen: Any, /) -> NDArray[np.str_]:
        """Name the kind of evidence of each residual, shape (m,)."""

    @abstractmethod
    def cause_slopes(self, seen: Any, parameters: Array, /) -> Array:
        """Slopes by every unknown of every cause (``causes.ALL_UNKNOWNS``), in the block's form."""

    @abstractmethod
    def with_cause(self, cause: Cause, values: Array, /) -> Block:
        """Give the block with one cause of these values mended, units as in ``causes.UNKNOWNS``."""

    def alone(self, look: Look, /) -> float:
        """Give the variance that this block's readings bring to the offset, mm^2."""
        linear = look.linear
        return CLIPPED_VARIANCE * float((linear.slope @ look.direction) ** 2 @ linear.weight)

    @abstractmethod
    def apart(self, look: Look, other: Look, /) -> float | None:
        """Give the variance that shared readings leave in the difference of two offsets, mm^2.

        None where the other block does not hold the same readings.
        """


def pushes(look: Look) -> Array:
    """Give how the offset follows each residual of a block whose weights are no part of its noise, (m,)."""
    return np.asarray((look.linear.slope @ look.direction) * np.sqrt(look.linear.weight))


_Kind = TypeVar("_Kind", bound=Block)


def of_kind(blocks: Iterable[Block], kind: type[_Kind]) -> _Kind | None:
    """Give the first block of one kind, for what is asked of that kind alone; None where there is none."""
    return next((block for block in blocks if isinstance(block, kind)), None)
