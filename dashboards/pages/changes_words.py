"""The sentences of the page of what changed. In: rows of schema `change`. Out: text."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from itertools import groupby
from typing import Any

from markupsafe import Markup

from dashboards import words

DAY_END = time(23, 59, 59)  # what a lone day means as a moment
MOST_REASONS = 4  # ways named in the sentence


def say_moment(moment: datetime | None) -> str:
    """The day alone where its end is meant, else day and time; None is now."""
    if moment is None:
        return "now"
    return words.say_date(moment) if moment.time() == DAY_END else f"{words.say_date(moment)} {moment:%H:%M:%S} UTC"


def say_days(first: date | None, last: date | None) -> str:
    """' of 30 Jun 2026', ' of 3 Jun 2026 to 30 Jun 2026', or nothing for records without a day."""
    if first is None or last is None:
        return ""
    return f" of {words.say_date(last)}" if first == last else f" of {words.say_date(first)} to {words.say_date(last)}"


def say_records(reason: Any) -> str:
    """Which kinds of record, of which days: inspection of 30 Jun 2026."""
    named = [{"unit": "register row"}.get(name, name) for name in reason.records if name]
    return words.say_list(named) + say_days(reason.first_day, reason.last_day) if named else "no record found"


def say_what(cell: Any) -> str:
    """What a cell of a figure is of: its unit, duty, item and month."""
    duty = "any duty" if cell.duty == "*" else words.say_slug(cell.duty) if cell.duty else None
    month = words.say_month_to(cell.month_end) if cell.month_end else None
    return ", ".join(part for part in (cell.unit_id, duty, cell.item, month) if part)


def write_answer(asked: Any, vessel: str, overdue: Any, reasons: Sequence[Any], cells: Sequence[Any]) -> Markup | str:
    """For which day, between which moments: how many units overdue then and now, and why."""
    when = f"For {words.say_date(asked.as_of)}{f', {vessel}' if vessel else ''}, between {say_moment(asked.earlier)} and {say_moment(asked.later)}: "
    if not cells:
        return f"{when}nothing differs, neither in what is on record nor in a figure."
    then, now = (overdue.overdue_then, overdue.overdue_now) if overdue else (0, 0)
    more = f"{words.say_number(abs(now - then))} {'fewer' if now < then else 'more'} {words.say_verb(abs(now - then), 'unit', 'units')}"
    said = f"{more} overdue ({then} → {now})" if now != then else f"as many units overdue ({now})"
    figures = sum(1 for cell in cells if cell.is_figure)
    rest = f" In all {words.say_count(figures, 'figure')} and {words.say_count(len(cells) - figures, 'cell')} of records differ."
    return Markup("{}<strong>{}</strong>{}.{}").format(when, said, say_why(reasons), rest)


def say_why(reasons: Sequence[Any]) -> str:
    """, because 4 are no longer overdue (inspection of 30 Jun 2026: received 2026-07-09 (late file)) and 1 newly is (...)."""
    if not reasons:
        return ""
    parts = []
    for sign, many in groupby(reasons, key=lambda reason: reason.sign):
        group = list(many)
        parts.append(f"{len(group)} {'no longer' if sign < 0 else 'newly'} ({say_ways(group)})")
    return f", because {' and '.join(parts)}"


def say_ways(group: Sequence[Any]) -> str:
    """How those units came to differ, most frequent first: 4 inspection of 30 Jun 2026: received 2026-07-09 (late file)."""
    ways = [
        (how, list(many)) for how, many in groupby(sorted(group, key=lambda reason: reason.how), key=lambda reason: reason.how)
    ]
    ways.sort(key=lambda way: (-len(way[1]), way[0]))
    named = []
    for how, many in ways[:MOST_REASONS]:
        kinds = words.say_list(
            sorted({{"unit": "register row"}.get(name, name) for reason in many for name in reason.records if name})
        )
        days = [day for reason in many for day in (reason.first_day, reason.last_day) if day]
        named.append(
            f"{len(many)} by {kinds or 'what was not found'}{say_days(min(days, default=None), max(days, default=None))}, {how}"
        )
    more = len(ways) - len(named)
    return "; ".join(named) + (f"; {words.say_count(more, 'other way')}" if more > 0 else "")
