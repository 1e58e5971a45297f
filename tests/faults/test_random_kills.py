"""Killed at random moments: what was published stays whole, and the next run ends as if nothing had happened."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import pytest

from tests.faults.checks import KILLED, check_next_run, check_whole


def kill_at_random(firekpi, scene, tmp_path: Path, kills: int, seed: int) -> int:
    """Kill at random moments, up to twelve times in a row before a run is let through; gives how many kills hit."""
    chance, hits = random.Random(seed), 0
    for place_no in itertools.count():
        if hits >= kills:
            return hits
        place = scene.second(tmp_path / f"{seed}-{place_no}")
        for _ in range(chance.randint(1, 12)):
            done = firekpi(place, kill_after=chance.uniform(0, scene.seconds))
            assert done["code"] in (KILLED, 0), done["err"]
            check_whole(place, scene.before, scene.after)
            if done["code"] == 0:
                break
            hits += 1
        check_next_run(firekpi, place, scene.after)


def test_killed_at_3_random_moments(firekpi, scene, tmp_path):
    assert kill_at_random(firekpi, scene, tmp_path, kills=3, seed=1) >= 3


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 6))
def test_killed_at_200_more_random_moments(firekpi, scene, tmp_path, seed):
    assert kill_at_random(firekpi, scene, tmp_path, kills=50, seed=seed) >= 50
