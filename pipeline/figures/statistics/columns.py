"""Named columns of one length. In: a named tuple of arrays. Out: the same with some of the rows."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

Columns = TypeVar("Columns", bound=tuple)


def pick(columns: Columns, which: np.ndarray) -> Columns:
    """The rows of all columns (n,) that the mask or the places `which` name."""
    return type(columns)(*(each[which] for each in columns))
