"""Units that fail soon after service, by provider. In: the temporary table of service_failure.sql. Out: figure.service_failure, filled."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np

from pipeline.figures.statistics.proportions import ClusteredShare, Difference, korn_graubard, newcombe

FEWEST_FAILED = 5  # in both of two that are compared
NOT_COMPARED = ("not stated", "several on one day")


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Fill figure.service_failure: each provider against all the others together."""
    for period in ("all", "last 12 months"):
        cells = con.execute("select * exclude (period) from service_cluster where period = ? order by all", [period]).fetchall()
        if cells:
            con.executemany(f"insert into figure.service_failure values ({', '.join('?' * 16)})", compare(period, cells))
    con.execute("drop table service_cluster")


def compare(period: str, cells: list[tuple]) -> list[tuple]:
    """Rows of one period. Cells: provider, vessel, month, services, followed, unit-days, failed."""
    names = np.array([cell[0] for cell in cells])
    numbers = np.array([cell[3:] for cell in cells], np.int64)
    rivals = sorted({str(name) for name in names} - set(NOT_COMPARED))
    # as many comparisons as providers: each at such a level that all together err in one of twenty
    level = 1 - 0.05 / (len(rivals) if len(rivals) > 2 else 1)
    rows = [describe(period, "*", numbers, None, None)]
    for name in sorted({str(name) for name in names}):
        mine, others = numbers[names == name], numbers[(names != name) & np.isin(names, rivals)]
        verdict, gap = (
            ("not compared", None) if name in NOT_COMPARED
            else ("the only provider", None) if len(rivals) < 2
            else judge(mine, others, level)
        )  # fmt: skip
        rows.append(describe(period, name, mine, verdict, gap))
    return rows


def share_failed(numbers: np.ndarray) -> ClusteredShare:
    """Failed of followed, by vessel and month of service."""
    return korn_graubard(numbers[:, 3], numbers[:, 1])


def judge(mine: np.ndarray, others: np.ndarray, level: float) -> tuple[str, Difference | None]:
    """Does a provider differ from the others together? On the number of independent services that the clusters are worth."""
    one, other = share_failed(mine), share_failed(others)
    if one.effective is None or other.effective is None:
        return "too few to tell", None
    gap = newcombe(one.share * one.effective, one.effective, other.share * other.effective, other.effective, level)
    if one.done + other.done < FEWEST_FAILED:
        return "too few to tell", gap
    if gap.low <= 0 <= gap.high:
        return "can not be told apart", gap
    return "fails more often" if gap.low > 0 else "fails less often", gap


def describe(period: str, name: str, numbers: np.ndarray, verdict: str | None, gap: Difference | None) -> tuple:
    """One row: counts, the share per 100 with its limits, the difference in points per 100."""
    services, followed, unit_days, failed = (int(total) for total in numbers.sum(axis=0))
    share = share_failed(numbers)
    rate = [None if part is None else 100 * part for part in (share.share, share.low, share.high)]
    why = (
        "nobody looked at them again within 90 days" if not followed
        else "services on too few vessels and months for limits" if share.low is None else None
    )  # fmt: skip
    points = (None, None, None) if gap is None else tuple(100 * part for part in gap)
    return (
        period, name, services, followed, unit_days, failed, *rate, share.clusters, share.effective, *points, verdict, why,
    )  # fmt: skip
