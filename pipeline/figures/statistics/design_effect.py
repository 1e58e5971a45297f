"""How much services of all groups are late together, so that groups can be compared. In: counts by group and cluster."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from pipeline.figures.statistics.proportions import ClusteredShare, check_counts, clopper_pearson

LEAST_DF = 8
BLOCK = 3  # neighbouring clusters


class CommonEffect(NamedTuple):
    """The design effect that groups have in common, and its degrees of freedom."""

    effect: float
    df: int


def pool_design_effect(groups: Sequence[tuple[ArrayLike, ArrayLike]]) -> CommonEffect | None:
    """Groups as (done by cluster, due by cluster); None where no group of two clusters has both outcomes. Never below 1.

    Each group's clusters vary about its own share, so what sets the groups apart isn't in it: sum m / (m - 1) (x - n p)^2 over
    sum n p (1 - p). One group's own effect rests on a dozen clusters; this one is what groups are compared by.
    Source: measure_variance, added up as the strata of a sample (Kish L. 1965, Survey Sampling, section 8.2; from memory).
    """
    between = alone = 0.0
    df = 0
    for done, due in groups:
        x, n = check_counts(done, due)
        if len(n) >= 2:
            p, m = x.sum() / n.sum(), len(n)
            between += float(m / (m - 1) * ((x - n * p) ** 2).sum())
            alone += float(n.sum() * p * (1 - p))
            df += m - 1
    return CommonEffect(max(1.0, between / alone), df) if alone > 0 else None


def pool_lasting_effect(groups: Sequence[tuple[ArrayLike, ArrayLike]]) -> CommonEffect | None:
    """As pool_design_effect, of clusters in order of time: the larger of it and that of three neighbours as one cluster.

    Good and bad months come in runs; what is said of a course over time has to allow for it. Groups of fewer than three such blocks tell
    nothing of them, and below 8 degrees of freedom blocks are left aside.
    Source: batches of a series in place of its points, as in Kuensch H. R. (1989) Annals of Statistics 17:1217 (from memory); the larger
    of both and the three are the project's rule.
    """
    plain, blocks = pool_design_effect(groups), []
    for done, due in groups:
        x, n = check_counts(done, due)
        if len(n) >= BLOCK * BLOCK:
            starts = np.arange(0, len(n) - len(n) % BLOCK, BLOCK)
            blocks.append((np.add.reduceat(x, starts), np.add.reduceat(n, starts)))
    wide = pool_design_effect(blocks)
    return wide if plain and wide and wide.df >= LEAST_DF and wide.effect > plain.effect else plain


def count_effective(
    due: ArrayLike, common: CommonEffect, confidence: float = 0.95, clusters: ArrayLike | None = None
) -> np.ndarray:  # fmt: skip
    """Independent items (k,) that tell as much as `due` of them (k,), at least 1; fewer where the common effect rests on few clusters.

    n / effect * (z / t(df))^2, the factor of Korn and Graubard with the pooled degrees of freedom. Below 8 of these the effect is
    hardly known: then never more items than `clusters` (k,), where these are given, as if all in a cluster went one way.
    Source of the 8: as display.judge_display; that clusters become the items is the project's rule.
    """
    tail = 0.5 + confidence / 2
    factor = (special.ndtri(tail) / special.stdtrit(common.df, tail)) ** 2
    worth = np.asarray(due, float) / common.effect * factor
    if clusters is not None and common.df < LEAST_DF:
        worth = np.minimum(worth, np.asarray(clusters, float))
    return np.maximum(1.0, worth)


def hold_share(share: ClusteredShare, common: CommonEffect | None, confidence: float = 0.95) -> ClusteredShare:
    """A clustered share whose own clusters mustn't promise more than all groups' do: limits on the smaller number of items.

    Below 8 clusters these are the items: few of them may all have gone one way by luck, and what little then varies within them is no
    measure of how much they vary (tests/statistics). From 8 on no more items than count_effective gives. The project's rule.
    """
    if share.share is None or share.effective is None:
        return share
    most = float(share.clusters) if share.clusters < LEAST_DF else float(share.due)
    if common:
        most = min(most, float(count_effective(share.due, common, confidence, share.clusters)))
    if most >= share.effective:
        return share
    low, high = clopper_pearson(share.share * most, most, confidence)
    return share._replace(low=low, high=high, effective=most)
