"""Sentences about overdue items: who, where most of it is, what it rests on.

In: `Item` values. Out: text for the openings and remarks of the Fleet, Overdue and Vessel pages.
"""

from __future__ import annotations

from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Context
from dashboards.pages.due_items import Item
from dashboards.rule_book import COMMON_PRACTICE


def say_subjects(items: list[Item]) -> str:
    """'13 units and 4 sample groups', each counted once."""
    units = len({(i.imo_number, i.unit_id) for i in items if not i.is_group})
    groups = len({(i.imo_number, i.unit_id) for i in items if i.is_group})
    parts = [words.say_count(n, noun) for n, noun in ((units, "unit"), (groups, "sample group")) if n]
    return words.say_list(parts) or "no unit"


def say_where(items: list[Item], context: Context) -> Markup:
    """'9 of them on Vellamora: 6 onboard checks, 2 pressure tests and 1 annual service'; nothing where that tells nothing."""
    counts: dict[str, int] = {}
    for item in items:
        counts[item.imo_number] = counts.get(item.imo_number, 0) + 1
    most = max(counts.values(), default=0)
    top = sorted((imo for imo, n in counts.items() if n == most), key=lambda imo: (context.name_vessel(imo), imo))
    if len(context.vessels) < 2 or not most or len(top) > 2:
        return Markup("")
    names = [context.name_vessel(imo) for imo in top]
    if len(top) == 2:
        return Markup("{} of them each on {}").format(words.say_number(most), words.say_list(names))
    duties: dict[str, int] = {}
    for item in (i for i in items if i.imo_number == top[0]):
        duties[item.duty] = duties.get(item.duty, 0) + 1
    ranked = sorted(duties, key=lambda duty: (-duties[duty], context.book.order_duty(duty)))
    kinds = words.say_list([words.say_count(duties[duty], context.book.name_duty(duty)) for duty in ranked])
    return Markup("{} of them on {}: {}").format(context.say_count(most, "overdue-items", top[0]), names[0], kinds)


def say_grounds(items: list[Item], context: Context) -> str:
    """How many items rest on common practice alone, and how many on no record of the duty."""
    every, rules = words.say_number(len(items)), [context.book.find_rule(item.rule_id) for item in items]
    common = sum(1 for rule in rules if rule and rule.certainty == COMMON_PRACTICE)
    bare = sum(1 for item in items if item.is_without_record)
    return (
        f"{words.say_number(common)} of {every} {words.say_verb(common, 'rests', 'rest')} on a rule of common practice only, "
        f"marked [{COMMON_PRACTICE}]; for {words.say_number(bare)} no such record exists, so the first day in service or the "
        "manufacture stands in."
    )
