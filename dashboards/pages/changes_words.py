"""The sentences of the page of what changed. In: rows of schema `change`. Out: text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, time
from itertools import groupby
from typing import Any

from markupsafe import Markup

from dashboards import words

DAY_END = time(23, 59, 59)  # what a lone day means as a moment
RECEIVED = re.compile(r"\breceived (\d{4}-\d{2}-\d{2})\b")
MOST_REASONS = 3  # ways named in the sentence


def say_how(text: str) -> str:
    """Days of receipt as pages write them; the CSV keeps 2026-07-09. What people wrote is left as they wrote it."""
    return RECEIVED.sub(lambda found: f"received {words.say_date(date.fromisoformat(found[1]))}", text)


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


def write_answer(asked: Any, vessel: str, overdue: Any, ways: Sequence[Any], cells: Sequence[Any]) -> Markup | str:
    """For which day, between which moments: how many units overdue then and now, and why."""
    when = f"For {words.say_date(asked.as_of)}{f', {vessel}' if vessel else ''}, between {say_moment(asked.earlier)} and {say_moment(asked.later)}: "
    if not cells:
        return f"{when}nothing differs, neither in what is on record nor in a figure."
    then, now = (overdue.overdue_then, overdue.overdue_now) if overdue else (0, 0)
    more = f"{words.say_number(abs(now - then))} {'fewer' if now < then else 'more'} {words.say_verb(abs(now - then), 'unit', 'units')}"
    said = f"{more} overdue ({then} → {now})" if now != then else f"as many units overdue ({now})"
    figures = sum(1 for cell in cells if cell.is_figure)
    rest = f" In all {words.say_count(figures, 'figure')} and {words.say_count(len(cells) - figures, 'cell')} of records differ."
    return Markup("{}<strong>{}</strong>{}.{}").format(when, said, say_why(ways), rest)


def say_why(ways: Sequence[Any]) -> str:
    """: 4 no longer and 1 newly, because of 4 inspections of 30 Jun 2026, received 9 Jul 2026 (late file)."""
    if not ways:
        return ""
    ended, begun = ({(way.imo_number, way.unit_id) for way in ways if way.sign == sign} for sign in (-1, 1))
    counts = [f"{words.say_number(len(units))} {word}" for units, word in ((ended, "no longer"), (begun, "newly")) if units]
    by_how = [(how, list(group)) for how, group in groupby(sorted(ways, key=lambda way: way.how), key=lambda way: way.how)]
    named = sorted(((-len({way.unit_id for way in group}), how, group) for how, group in by_how), key=lambda item: item[:2])
    said = [f"{say_count_of_records(group)}, {say_how(how)}" for _, how, group in named[:MOST_REASONS]]
    more = len(named) - len(said)
    tail = f"; and {words.say_count(more, 'other reason')}" if more > 0 else ""
    return f": {' and '.join(counts)}, because of {'; '.join(said)}{tail}"


def say_count_of_records(group: Sequence[Any]) -> str:
    """4 inspections and 1 service of 28 Jun 2026 to 30 Jun 2026; the number of units where no record was found."""
    kinds: dict[str, set[int]] = {}
    for way in group:
        if way.table_name:
            kinds.setdefault({"unit": "register row"}.get(way.table_name, way.table_name), set()).add(way.change_no)
    if not kinds:
        return words.say_count(len({way.unit_id for way in group}), "unit")
    days = [way.day for way in group if way.day]
    listed = words.say_list([words.say_count(len(found), kind) for kind, found in sorted(kinds.items())])
    return listed + say_days(min(days, default=None), max(days, default=None))
