"""Where the generator's choices come from: a seed, or hypothesis (which can then shrink a failing fleet).

In: a seed or hypothesis' draw function. Out: an object with pick_number, pick_one and has_chance. Simple values come
first in every choice, because hypothesis shrinks towards them.
"""

import random
from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar

from hypothesis import strategies as st

Item = TypeVar("Item")


class Chooser(Protocol):
    def pick_number(self, low: int, high: int) -> int: ...

    def pick_one(self, items: Sequence[Item]) -> Item: ...

    def has_chance(self, percent: int) -> bool: ...


class SeededChooser:
    """The same seed gives the same fleet, on any machine."""

    def __init__(self, seed: int):
        self.random = random.Random(seed)

    def pick_number(self, low: int, high: int) -> int:
        return self.random.randint(low, high)

    def pick_one(self, items: Sequence[Item]) -> Item:
        return items[self.random.randrange(len(items))]

    def has_chance(self, percent: int) -> bool:
        return self.random.randrange(100) >= 100 - percent


class DrawnChooser:
    def __init__(self, draw: Callable):
        self.draw = draw

    def pick_number(self, low: int, high: int) -> int:
        return self.draw(st.integers(low, high))

    def pick_one(self, items: Sequence[Item]) -> Item:
        return items[self.draw(st.integers(0, len(items) - 1))]

    def has_chance(self, percent: int) -> bool:
        return self.draw(st.integers(0, 99)) >= 100 - percent
