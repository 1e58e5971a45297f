"""Verdicts in a sentence, their names, and where the site lists them.

In: rows of verdict_rows.py. Out: text and links for the Fleet, Fitness and Vessel pages.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from dashboards import words
from dashboards.blocks import FLEET, Context, Link
from dashboards.pages import verdict_rows

REMARKS = {
    "condemn": "Hard reasons, each by a rule. A closed finding does not mend a shell.",
    "unfit": "Not to be relied on until put right and recorded.",
    "stations": "An unfit unit covers no station.",
    "doubt": "Doubts, no verdicts: a competent person decides.",
}
NAMES = {"unfit": "Unfit now", "condemn": "To condemn", "placement": "Wrong place, colour or size", "doubt": "To be looked at"}


def say_hard(rows: Sequence[verdict_rows.Row], context: Context, scope: str = FLEET, root: str = "") -> Markup:
    """'34 units are unfit and 12 are to be condemned'."""
    unfit, condemn = (verdict_rows.count_units(verdict_rows.pick(rows, name)) for name in ("unfit", "condemn"))
    return Markup("{} {} {} unfit and {} {} to be condemned").format(
        context.say_count(unfit, "unfit", scope, root) if unfit else "no",
        "unit" if unfit == 1 else "units",
        words.say_verb(unfit, "is", "are"),
        context.say_count(condemn, "condemn", scope, root) if condemn else "none",
        words.say_verb(condemn, "is", "are"),
    )


def say_places(rows: Sequence[verdict_rows.Row], context: Context, scope: str = FLEET, root: str = "") -> Markup:
    """'5 are in a wrong place, or of a wrong colour or size'."""
    count = verdict_rows.count_units(verdict_rows.pick(rows, "placement"))
    said = context.say_count(count, "placement", scope, root) if count else "none"
    return Markup("{} {} in a wrong place, or of a wrong colour or size").format(said, words.say_verb(count, "is", "are"))


def say_verdicts(rows: Sequence[verdict_rows.Row], context: Context, scope: str = FLEET, root: str = "") -> Markup:
    """The verdicts in a sentence, for the pages that do not list them first."""
    where = (context, scope, root)
    return Markup("By the rules in force {}; {}. Named in:").format(say_hard(rows, *where), say_places(rows, *where))


def link_verdicts(page: str) -> tuple[Link, ...]:
    """To the tables of these verdicts."""
    return tuple(Link(NAMES[name], f"{page}#{name}") for name in ("unfit", "condemn", "placement"))
