"""Fleet: how does the fleet stand on this date?

In: figure.overdue_monthly, unit_now, duty_now, freshness. Out: index.html and, beyond 50 vessels, further pages of vessels.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import standing, words
from dashboards.blocks import Context, Fact, Facts, Link, Note, Page, Section
from dashboards.pages import fleet_data, fleet_duties, fleet_vessels

APART = {"spare": "spare", "ashore": "ashore for service", "laid up": "on vessels laid up"}


def write_answer(data: fleet_data.FleetData, context: Context) -> str:
    """The sentence that answers the page's question."""
    day, total = words.say_date(context.as_of), data.any_duty
    if total is None or not total.now.units:
        return f"On {day} no unit is in service on any vessel of these records, so nothing can be overdue or in time."
    vessels = data.counted["in service"].vessels if "in service" in data.counted else 0
    known = total.now.units - total.now.unknown
    share = words.say_percent(100 * total.now.overdue / known) if known else "none can be told"
    return Markup(
        "On {} <strong>{} of {}</strong> units in service on {} ({}) were overdue for an onboard check, an annual service or a "
        "pressure test: {}."
    ).format(
        day,
        words.say_number(total.now.overdue),
        words.say_number(known),
        words.say_count(vessels, "vessel"),
        share,
        standing.say_changes(total),
    )


def list_facts(data: fleet_data.FleetData, context: Context) -> Facts:
    """The numbers to start from."""
    service = data.counted.get("in service")
    total = data.any_duty
    facts = (
        Fact(
            "Units in service",
            words.say_number(service.units if service else 0),
            f"on {words.say_count(service.vessels if service else 0, 'vessel')}",
        ),
        Fact(
            "Units overdue now",
            words.say_number(total.now.overdue if total else 0),
            "on any of the three duties; a count, so without an interval",
        ),
        Fact(
            "Due date unknown",
            words.say_number(total.now.unknown if total else 0),
            "no basis to count from; never taken as in time",
        ),
        Fact("Open findings", words.say_number(service.open_findings if service else 0), "on units in service"),
    )
    apart = {name: data.counted[name].units for name in APART if name in data.counted}
    note = (
        words.say_list([f"{words.say_number(n)} {APART[name]}" for name, n in apart.items()])
        or "no spare units, none ashore, none laid up"
    )
    return Facts((*facts, Fact("Counted apart", words.say_number(sum(apart.values())), note)))


def make_pages(con: duckdb.DuckDBPyConnection, context: Context) -> list[Page]:
    """The index and the further pages of vessels."""
    data = fleet_data.read_fleet(con, context)
    further = fleet_vessels.make_further_pages(data.vessels, context)
    sections = [
        Section("standing", "The fleet on this day", (list_facts(data, context),)),
        Section(
            "duties",
            "Overdue by duty",
            (fleet_duties.chart_duties(data),),
            (
                "A count on a day is a census: it has no sampling error. The share of unit-days overdue looks at the "
                "whole month, so a busy month end doesn't move it."
            ),
        ),
        Section(
            "ahead",
            "Falling due",
            (fleet_duties.list_ahead(data, context),),
            "The onboard check comes round every month, so nearly every unit stands in it.",
        ),
        fleet_vessels.make_section(data.vessels, context, [Link(page.title, page.path) for page in further]),
    ]
    if not context.vessels:
        sections = [
            Section(
                "empty",
                "No vessel",
                (
                    Note(
                        (
                            "These records hold no vessel that is in the fleet on this date. Load a vessel list (vessel.csv) and "
                            "a register of units, or ask for another date."
                        ),
                        "empty",
                    ),
                ),
            )
        ]
    index = Page("index.html", "Fleet", "How does the fleet stand on this date?", write_answer(data, context), tuple(sections))
    return [index, *further]
