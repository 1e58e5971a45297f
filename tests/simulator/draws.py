"""Seeded random draws. In: a seed. Out: numpy arrays that are the same on every numpy 2.

Only the raw 64-bit stream of PCG64 and of SeedSequence is used, because numpy promises to keep those; it does not
promise that Generator.normal() and the like keep their numbers from one version to the next.
"""

from __future__ import annotations

import numpy as np


class Draws:
    """A stream of draws; `split` gives an independent stream, so that one part never shifts another."""

    def __init__(self, *seed: int):
        self.seed = seed
        self._bits = np.random.PCG64(np.random.SeedSequence(list(seed)))

    def split(self, label: int) -> Draws:
        """An independent stream, always the same for the same seed and label."""
        return Draws(*self.seed, label)

    def uniform(self, *shape: int) -> np.ndarray:
        """Uniform on [0, 1)."""
        size = int(np.prod(shape, dtype=np.int64))
        raw = self._bits.random_raw(size) if size else np.zeros(0, dtype=np.uint64)
        return ((raw >> np.uint64(11)) * 2.0**-53).reshape(shape)

    def between(self, low: int, high: int, *shape: int) -> np.ndarray:
        """Whole numbers from low to high, both included."""
        return (low + self.uniform(*shape) * (high - low + 1)).astype(np.int64)

    def exponential(self, *shape: int) -> np.ndarray:
        """Exponential, mean 1."""
        return -np.log1p(-self.uniform(*shape))

    def gamma(self, shape_number: int, *shape: int) -> np.ndarray:
        """Gamma of a whole shape number, mean 1: a sum of exponentials."""
        return self.exponential(shape_number, *shape).sum(axis=0) / shape_number

    def normal(self, *shape: int) -> np.ndarray:
        """Standard normal, by Box and Muller."""
        return np.sqrt(2 * self.exponential(*shape)) * np.cos(2 * np.pi * self.uniform(*shape))

    def poisson(self, mean: np.ndarray) -> np.ndarray:
        """Poisson of small means, by inversion."""
        left, count = self.uniform(*np.shape(mean)), np.zeros(np.shape(mean), dtype=np.int64)
        term = np.exp(-np.asarray(mean, dtype=float))
        while (left >= term).any() and count.max(initial=0) < 60:
            more = left >= term
            left = np.where(more, left - term, left)
            count = count + more
            term = np.where(more, term * mean / np.maximum(count, 1), term)
        return count

    def pick(self, shares: list[float], *shape: int) -> np.ndarray:
        """Positions in `shares`, drawn in proportion to them."""
        edges = np.cumsum(shares) / np.sum(shares)
        return np.searchsorted(edges, self.uniform(*shape), side="right")
