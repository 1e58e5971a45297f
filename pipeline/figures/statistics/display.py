"""When a share says enough to be shown. In: a share over clusters. Out: 'rate' or 'counts only', and why."""

from __future__ import annotations

from pipeline.figures.statistics.proportions import LEAST_CLUSTERS, ClusteredShare

FEW_CLUSTERS, LEAST_EFFECTIVE = 8, 30
NARROW, WIDE, MOST_RELATIVE = 0.05, 0.30, 1.30


def judge_display(share: ClusteredShare) -> tuple[str, str | None]:
    """'counts only' with the reason; or 'rate' with None or what to beware of.

    Fewer than 30 independent items' worth: counts only. Limits up to .05 apart: shown. .30 or more: not. Between, not where they are
    further apart than 1.3 times the share. Source: NCHS Data Presentation Standards for Proportions, Vital and Health
    Statistics 2(175), 2017, with its caution below 8 degrees of freedom put on clusters; and 3 clusters as the least of all.
    """
    if share.share is None:
        return "counts only", "nothing fell due"
    if share.low is None or share.high is None or share.effective is None:
        return "counts only", f"fewer than {LEAST_CLUSTERS} groups of services that stand or fall together"
    if share.effective < LEAST_EFFECTIVE:
        worth = f"{share.effective:.0f}" if share.effective >= 1 else "less than one"
        return (
            "counts only",
            f"tells as much as {worth} independent service{'' if worth in ('1', 'less than one') else 's'}; {LEAST_EFFECTIVE} are needed",
        )
    width = share.high - share.low
    if width >= WIDE or (width > NARROW and width > MOST_RELATIVE * share.share):
        return "counts only", f"the interval is {100 * width:.0f} points wide"
    if share.clusters < FEW_CLUSTERS:
        return "rate", f"only {share.clusters} groups of services"
    if width > NARROW and width > MOST_RELATIVE * (1 - share.share):
        return "rate", "few were late, so the share of late ones is uncertain"
    return "rate", None
