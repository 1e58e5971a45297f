"""The opening of the Overdue page.

In: `OverdueData`. Out: markup: who is late, for how long, where, and whether it grows.
"""

from __future__ import annotations

from markupsafe import Markup

from dashboards import standing, words
from dashboards.blocks import Context
from dashboards.pages import bare_records, due_words, overdue_data


def say_late(data: overdue_data.OverdueData, context: Context) -> Markup:
    """'Counting every duty, 13 units and 4 sample groups are overdue (17 items), 9 of them on V; half of the items for 23 days or more, the longest 71'."""
    whole = next((r for r in data.spread if r.duty == "*"), None)
    if whole is None:
        return Markup("Nothing is overdue on any duty")
    where = due_words.say_where(data.items, context)
    verb = "is" if len({(i.imo_number, i.unit_id) for i in data.items}) == 1 else "are"
    half = words.say_count(words.round_whole(whole.median_days), "day")
    long = f"half of the items for {half} or more, the longest {words.say_number(whole.most_days)}"
    if whole.items == 1:
        long = f"{words.say_count(whole.most_days, 'day')} late"
    return Markup("<strong>Counting every duty, {} {} overdue</strong> ({}){}; {}").format(
        link_subjects(data.items, context),
        verb,
        Markup("{} {}").format(context.say_count(whole.items, "overdue-items"), "item" if whole.items == 1 else "items"),
        Markup(", {}").format(where) if where else "",
        long,
    )


def link_subjects(items: list, context: Context) -> Markup:
    """'13 units and 4 sample groups', each number leading to its list."""
    parts = []
    for is_group, noun, name in ((False, "unit", "overdue-units"), (True, "sample group", "overdue-groups")):
        count = len({(i.imo_number, i.unit_id) for i in items if i.is_group == is_group})
        if count:
            parts.append(Markup("{} {}").format(context.say_count(count, name), noun if count == 1 else f"{noun}s"))
    return Markup(" and ").join(parts) or Markup("No unit")


def write_answer(data: overdue_data.OverdueData, context: Context) -> str:
    """Who, how long, where, and whether it grows."""
    total = standing.compare_months(data.months.get(("*", "*"), []), context.as_of)
    if total is None:
        return f"On {words.say_date(context.as_of)} no unit is in service, so none can be overdue.{context.empty_why}"
    count = len(data.unknown)
    items = Markup("{} {}").format(context.say_count(count, "unknown-items"), "item" if count == 1 else "items")
    unknown = Markup(" {} can't be told.").format(items) if count else ""
    return Markup("{}. {}.{} {}.{}").format(
        standing.say_standing(total.now, "", context),
        say_late(data, context),
        unknown,
        standing.say_years(standing.compare_years(data.months["*", "*"])),
        bare_records.say_bare(data.bare, context),
    )
