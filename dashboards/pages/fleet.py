"""Fleet: how does the fleet stand on this date?

In: figure.overdue_monthly, unit_now, duty_now, freshness, verdict, placement_now. Out: index.html and, beyond 50 vessels, further pages of vessels.
"""

from __future__ import annotations

from typing import Any

import duckdb
from markupsafe import Markup

from dashboards import standing, words
from dashboards.blocks import FLEET, Context, Fact, Facts, Link, Note, Page, Section
from dashboards.pages import (
    bare_records,
    due_words,
    fleet_data,
    fleet_duties,
    fleet_vessels,
    on_time_data,
    verdict_rows,
    verdict_words,
)
from dashboards.pages.unit_names import name_safely

REAL = (
    "A count on a day is exact. Whether the fleet does better or worse than a year ago is told from what fell due and was done in time, "
    "with limits that take the services of a vessel’s call as one."
)
APART = {"spare": "spare", "ashore": "ashore for service", "laid up": "on vessels laid up"}

FIND = Note(
    "To find a unit, or those that answer to more than one thing:", links=(Link("the register of all units", "register.html"),)
)


def write_answer(data: fleet_data.FleetData, context: Context) -> str:
    """The sentence that answers the page's question."""
    day, total = words.say_date(context.as_of), data.any_duty
    if total is None or not total.now.units:
        return (
            f"On {day} no unit is in service on any vessel of these records, so nothing can be overdue or in time."
            f"{context.empty_why}"
        )
    vessels = data.counted["in service"].vessels if "in service" in data.counted else 0
    where = due_words.say_where(data.late, context)
    groups = len({(i.imo_number, i.unit_id) for i in data.late if i.is_group})
    others = f" {words.say_capital(words.say_count(groups, 'sample group'))} {words.say_verb(groups, 'is', 'are')} overdue too."
    return Markup("{}: {}.{}{}{}").format(
        standing.say_standing(total.now, f" on {words.say_count(vessels, 'vessel')}", context),
        standing.say_changes(total),
        others if groups else "",
        Markup(" {} {} in all, {}.").format(
            context.say_count(len(data.late), "overdue-items"), "item" if len(data.late) == 1 else "items", where
        )
        if where
        else "",
        bare_records.say_bare(data.bare, context),
    )


def list_facts(data: fleet_data.FleetData, context: Context) -> Facts:
    """The numbers to start from."""
    service = data.counted.get("in service")
    total = data.any_duty
    unknown = f"items, on {due_words.say_subjects(data.unknown)}; never taken as in time"
    facts = (
        Fact(
            "Units in service",
            context.tell_count(service.units if service else 0, "in-service"),
            f"on {words.say_count(service.vessels if service else 0, 'vessel')}",
        ),
        Fact(
            "Units overdue now",
            context.tell_count(total.now.overdue if total else 0, "overdue-any"),
            f"on {context.book.name_any()}; a count, so without an interval",
        ),
        Fact(
            "Due date unknown",
            context.tell_count(len(data.unknown), "unknown-items"),
            unknown if data.unknown else "every item has a basis to count from",
        ),
        Fact(
            "Unfit or to condemn",
            context.tell_count(verdict_rows.count_units(verdict_rows.pick(data.verdicts, "unfit", "condemn")), "against"),
            "by the rules in force, each unit once; spare units and those ashore too",
        ),
        Fact(
            "Open findings",
            context.tell_count(int(service.open_findings) if service else 0, "open-findings"),
            say_severities(service, context),
        ),
    )
    apart = {name: data.counted[name].units for name in APART if name in data.counted}
    note = (
        Markup(
            words.say_list([f"{context.say_count(n, f'apart-{name_safely(name)}')} {APART[name]}" for name, n in apart.items()])
        )
        or "no spare units, none ashore, none laid up"
    )
    return Facts((*facts, Fact("Counted apart", context.tell_count(sum(apart.values()), "apart"), note)))


def say_severities(service: Any, context: Context, scope: str = FLEET, root: str = "") -> str:
    """'on 27 units in service, the worst of each: 5 unfit, 9 major, 13 minor'."""
    if not service or not service.found:
        return "on units in service"

    def say(value: int, name: str) -> str:
        return context.say_count(value, name, scope, root)

    parts = [f"{say(n, f'found-{w}')} {w}" for w in ("unfit", "major", "minor") if (n := getattr(service, w))]
    rest = service.found - service.unfit - service.major - service.minor
    parts += [f"{say(rest, 'found-none')} without severity"] if rest else []
    units = f"{say(service.found, 'found')} {'unit' if service.found == 1 else 'units'}"
    return Markup(f"on {units} in service, by the worst of each: {words.say_list(parts)}")  # numbers and words of ours alone


def tell_fitness(data: fleet_data.FleetData, context: Context) -> Note:
    """What stands against units, and where each is named."""
    return Note(
        verdict_words.say_verdicts(data.verdicts, context),
        links=verdict_words.link_verdicts("fitness.html"),
    )


def tell_change(data: fleet_data.FleetData, context: Context) -> Note:
    """Whether the year differs from the one before, and a vessel from the fleet, by more than chance."""
    said = f"{on_time_data.say_real(data.on_time)} {on_time_data.say_outside(data.on_time, context)}"
    return Note(said, links=(Link("How that is told", "overdue.html#real"),))


def say_empty(context: Context) -> Section:
    """Why there is no vessel, and what to do."""
    said = (
        "These records hold no vessel that is in the fleet on this date. Load a vessel list (vessel.csv) and a register of "
        f"units, or ask for another date.{context.empty_why}"
    )
    return Section("empty", "No vessel", (Note(said, "empty"),))


def make_pages(con: duckdb.DuckDBPyConnection, context: Context) -> list[Page]:
    """The index and the further pages of vessels."""
    data = fleet_data.read_fleet(con, context)
    further = fleet_vessels.make_further_pages(data.vessels, context)
    sections = [
        Section("standing", "The fleet on this day", (list_facts(data, context), tell_fitness(data, context), FIND)),
        Section("real", "Is it real?", (tell_change(data, context),), REAL),
        Section(
            "duties",
            "Overdue by duty",
            (fleet_duties.chart_duties(data, context),),
            (
                "A count on a day is a census: it has no sampling error. The share of unit-days overdue looks at the "
                "whole month, so a busy month end doesn't move it."
            ),
        ),
        Section(
            "ahead",
            "Falling due",
            (fleet_duties.list_ahead(data, context),),
            fleet_duties.say_rounds(context.book),
        ),
        fleet_vessels.make_section(data.vessels, context, [Link(page.title, page.path) for page in further]),
    ]
    if not context.vessels:
        sections = [say_empty(context)]
    index = Page("index.html", "Fleet", "How does the fleet stand on this date?", write_answer(data, context), tuple(sections))
    return [index, *further]
