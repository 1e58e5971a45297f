"""Verdicts in a sentence, their names, and where the site lists them.

In: rows of verdict_rows.py. Out: text and links for the Fleet, Fitness and Vessel pages.
"""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import words
from dashboards.blocks import Link
from dashboards.pages import verdict_rows

REMARKS = {
    "condemn": "Hard reasons, each by a rule. A closed finding does not mend a shell.",
    "unfit": "Not to be relied on until put right and recorded.",
    "stations": "An unfit unit covers no station.",
    "doubt": "Doubts, no verdicts: a competent person decides.",
}
NAMES = {"unfit": "Unfit now", "condemn": "To condemn", "placement": "Wrong place, colour or size", "doubt": "To be looked at"}


def say_hard(rows: Sequence[verdict_rows.Row]) -> str:
    """'34 units are unfit and 12 are to be condemned'."""
    unfit, condemn = (verdict_rows.count_units(verdict_rows.pick(rows, name)) for name in ("unfit", "condemn"))
    return (
        f"{words.say_count(unfit, 'unit')} {words.say_verb(unfit, 'is', 'are')} unfit and "
        f"{words.say_number(condemn) if condemn else 'none'} {words.say_verb(condemn, 'is', 'are')} to be condemned"
    )


def say_places(rows: Sequence[verdict_rows.Row]) -> str:
    """'5 are in a wrong place, or of a wrong colour or size'."""
    count = verdict_rows.count_units(verdict_rows.pick(rows, "placement"))
    return f"{words.say_number(count) if count else 'none'} {words.say_verb(count, 'is', 'are')} in a wrong place, or of a wrong colour or size"


def say_verdicts(rows: Sequence[verdict_rows.Row]) -> str:
    """The verdicts in a sentence, for the pages that do not list them first."""
    return f"By the rules in force {say_hard(rows)}; {say_places(rows)}. Named in:"


def link_verdicts(page: str) -> tuple[Link, ...]:
    """To the tables of these verdicts."""
    return tuple(Link(NAMES[name], f"{page}#{name}") for name in ("unfit", "condemn", "placement"))
