"""How much services of all groups are late together, so that groups can be compared. In: counts by group and cluster."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from pipeline.figures.statistics.proportions import LEAST_CLUSTERS, ClusteredShare, check_counts, clopper_pearson, count_equal

LEAST_DF = 8
LEAST_SEEN = 15  # clusters of all groups; of fewer, those in which no cluster went wholly wrong by luck would be the ones shown
BLOCK = 3  # neighbouring clusters


class CommonEffect(NamedTuple):
    """The design effect that groups have in common, its degrees of freedom, the size of the clusters of which it speaks, and how much
    two items of one cluster have in common (0 not at all, 1 wholly); and how many equal clusters it has seen, of all groups."""

    effect: float
    df: int
    size: float | None = None
    rho: float = 0.0
    seen: float = 0.0

    def scale(self, size: ArrayLike) -> np.ndarray:
        """The effect for clusters of other sizes (k,): 1 + (size - 1) rho, and `effect` itself where all are of one size.

        An effect that rests on small clusters would take a large one for many items. Source: Kish L. (1965), Survey Sampling, section
        5.4; from memory.
        """
        if self.size is None:
            return np.full(np.shape(size), self.effect)
        return (1 + (np.asarray(size, float) - 1) * min(1.0, self.rho)) * max(1.0, self.effect / self.size)


def pool_design_effect(groups: Sequence[tuple[ArrayLike, ArrayLike]]) -> CommonEffect | None:
    """Groups as (done by cluster, due by cluster); None where no group of two clusters has both outcomes. Never below 1.

    Each group's clusters vary about its own share, so what sets the groups apart isn't in it: sum m / (m - 1) (x - n p)^2 over
    sum n p (1 - p). One group's own effect rests on a dozen clusters; this one is what groups are compared by.
    Clusters of a group of one or two are taken about the share of all: (x - n p)^2 / (1 - n / N). What sets the group apart is in it
    then, which errs towards limits too wide; without it large calls that were late moved the share of all and told nothing of its error.
    Source: measure_variance, added up as the strata of a sample (Kish L. 1965, Survey Sampling, section 8.2; from memory); what
    groups of one or two add is the project's rule.
    """
    counts = [pair for pair in (check_counts(*group) for group in groups) if len(pair[1])]
    total = sum(n.sum() for _, n in counts)
    whole = sum(x.sum() for x, _ in counts) / total if counts else 0.0
    has_within = any(len(n) >= 2 and 0 < x.sum() < n.sum() for x, n in counts)
    between = alone = squares = df = 0.0
    apart = np.zeros(3)
    for x, n in counts if has_within else ():
        own, m = float(n.sum()), len(n)
        p, free = (whole, 1 - n / total) if m < LEAST_CLUSTERS and own < total else (x.sum() / own, np.full(m, (m - 1) / m))
        between += float(((x - n * p) ** 2 / free).sum())
        alone += float(own * p * (1 - p))
        squares += float(n @ n * p * (1 - p))
        df += float(free.sum())
        apart += ((x / n - p) ** 2 / free).sum(), p * (1 - p) * (1 / n).sum(), p * (1 - p) * m
    if not alone > 0:
        return None
    effect, size = max(1.0, between / alone), squares / alone
    seen = count_equal(np.concatenate([n for _, n in counts]))
    return CommonEffect(effect, int(df + 1e-9), size, find_rho(effect, size, *apart), seen)


def find_rho(effect: float, size: float, apart: float, expected: float, most: float) -> float:
    """How much items of a cluster have in common, 0 to 1: the larger of what the effect says and of what clusters say of equal weight.

    By the effect, large clusters that all went well outweigh small ones that went wholly wrong. `apart` is the sum over clusters of
    (x / n - p)^2, `expected` what items alone would give it, p (1 - p) / n, `most` that of clusters wholly late, p (1 - p).
    Source: moments with weights n and 1, Kleinman J. C. (1973) J. Am. Stat. Assoc. 68:46, from memory; the larger of both is the project's rule.
    """
    by_effect = (effect - 1) / (size - 1) if size > 1 else 0.0
    by_cluster = (apart - expected) / (most - expected) if most > expected * (1 + 1e-9) else 0.0
    return float(min(1.0, max(0.0, by_effect, by_cluster)))


def pool_lasting_effect(
    groups: Sequence[tuple[ArrayLike, ArrayLike]], plain: CommonEffect | None = None
) -> CommonEffect | None:  # fmt: skip
    """As pool_design_effect, of clusters in order of time: the larger of it (`plain`, where it is known) and that of three neighbours as
    one cluster.

    Good and bad months come in runs; what is said of a course over time has to allow for it. Groups of fewer than three such blocks tell
    nothing of them, and below 8 degrees of freedom blocks are left aside.
    Source: batches of a series in place of its points, as in Kuensch H. R. (1989) Annals of Statistics 17:1217 (from memory); the larger
    of both and the three are the project's rule.
    """
    plain, blocks = plain or pool_design_effect(groups), []
    for done, due in groups:
        x, n = check_counts(done, due)
        if len(n) >= BLOCK * BLOCK:
            starts = np.arange(0, len(n) - len(n) % BLOCK, BLOCK)
            blocks.append((np.add.reduceat(x, starts), np.add.reduceat(n, starts)))
    wide = pool_design_effect(blocks)
    if not plain or not wide or wide.df < LEAST_DF or wide.effect <= plain.effect:
        return plain
    # an effect of blocks, told of clusters: count_effective asks by the size of these
    return wide._replace(size=plain.size, rho=find_rho(wide.effect, plain.size, plain.rho, 0.0, 1.0), seen=plain.seen)


def count_effective(
    due: ArrayLike, common: CommonEffect, confidence: float = 0.95, clusters: ArrayLike | None = None
) -> np.ndarray:  # fmt: skip
    """Independent items (k,) that tell as much as `due` of them (k,), at least 1; fewer where the common effect rests on few clusters.

    n / effect * (z / t(df))^2, the factor of Korn and Graubard with the pooled degrees of freedom. Where `clusters` (k,) are given,
    as many as if of one size (count_equal), the effect is that of clusters of their size. Below 8 degrees of freedom the effect is
    hardly known: then never more items than clusters, as if all in a cluster went one way.
    Source of the 8: as display.judge_display; that clusters become the items is the project's rule.
    """
    tail = 0.5 + confidence / 2
    factor = (special.ndtri(tail) / special.stdtrit(common.df, tail)) ** 2
    due = np.asarray(due, float)
    worth = due / (common.effect if clusters is None else common.scale(due / np.asarray(clusters, float))) * factor
    if clusters is not None and common.df < LEAST_DF:
        worth = np.minimum(worth, np.asarray(clusters, float))
    return np.maximum(1.0, worth)


def hold_share(share: ClusteredShare, common: CommonEffect | None, confidence: float = 0.95) -> ClusteredShare:
    """A clustered share whose own clusters mustn't promise more than all groups' do: limits on the smaller number of items.

    Below 8 clusters these are the items: few of them may all have gone one way by luck, and what little then varies within them is no
    measure of how much they vary (tests/statistics); nor are fewer than 15 of all groups. From there on no more items than count_effective gives. Clusters are counted by
    their weight, as equal_clusters. And that no cluster was seen to go wholly the other way doesn't prove that none does: as many as
    might be missed among those of all groups, 1 - tail^(1 / clusters), are left room for on both sides. The project's rule; the room is the
    exact upper limit of none seen (Clopper, Pearson 1934).
    """
    if share.share is None or share.effective is None:
        return share
    equal = share.equal_clusters
    known = max(equal, common.seen if common else 0.0)
    most = equal if equal < LEAST_DF or known < LEAST_SEEN else float(share.due)
    if share.clusters - 1 > equal - 1 > 0:
        tails = special.stdtrit([share.clusters - 1, equal - 1], 0.5 + confidence / 2)
        most = min(most, share.effective * float(tails[0] / tails[1]) ** 2, share.due if 0 < share.share < 1 else equal)
    if common:
        most = min(most, float(count_effective(share.due, common, confidence, equal)))
    most = max(1.0, most)
    low, high = share.low, share.high
    if most < share.effective:
        low, high = clopper_pearson(share.share * most, most, confidence)
    seen = (0.5 - confidence / 2) ** (1 / known)
    low, high = min(low, share.share * seen), max(high, 1 - (1 - share.share) * seen)
    return share._replace(low=low, high=high, effective=min(most, share.effective))
