"""Calendar arithmetic on whole days since 1970-01-01. In: integer arrays. Out: integer arrays or ISO texts."""

from __future__ import annotations

import datetime

import numpy as np

NEVER = np.int64(2**31)  # a day later than any other


def count_day(iso: str) -> int:
    """Day number of an ISO date."""
    return datetime.date.fromisoformat(iso).toordinal() - 719163


def add_months(days, months: int):
    """Calendar months later; a missing day clamps to the end of the month."""
    day = np.asarray(days).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    offset = (day - month.astype("datetime64[D]")).astype(np.int64)
    target = month + np.timedelta64(months, "M")
    length = ((target + np.timedelta64(1, "M")).astype("datetime64[D]") - target.astype("datetime64[D]")).astype(np.int64)
    return target.astype("datetime64[D]").astype(np.int64) + np.minimum(offset, length - 1)


def year_of(days):
    """Calendar year of each day."""
    return np.asarray(days).astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64) + 1970


def floor_to(days, precision: str):
    """First day of the month or year ('M', 'Y') of each day."""
    return np.asarray(days).astype("datetime64[D]").astype(f"datetime64[{precision}]").astype("datetime64[D]").astype(np.int64)


def write_days(days) -> list[str]:
    """ISO texts; NEVER becomes an empty text."""
    days = np.asarray(days, dtype=np.int64)
    known = days < NEVER
    texts = np.datetime_as_string(np.where(known, days, 0).astype("datetime64[D]"))
    return np.where(known, texts, "").tolist()
