"""Vessel: everything on one page for the master and the superintendent of one vessel.

In: the context and the data of all vessels. Out: vessel/<imo>.html for each vessel of the fleet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from dashboards import charts, due_calendar, standing, time_charts, words
from dashboards.blocks import Chart, Context, Link, Note, Page, Section, Table, Vessel, name_columns
from dashboards.pages import (
    agent_tables,
    due_words,
    list_past,
    vessel_fitness,
    vessel_lists,
    vessel_months,
    vessel_words,
)
from dashboards.pages.unit_names import name_safely
from dashboards.pages.vessel_data import VesselData
from dashboards.standing import to_pct


def chart_trend(data: VesselData, context: Context, imo: str) -> Chart:
    """Unit-days overdue, month by month."""
    mine = data.months[-list_past.MONTHS :]
    rows = tuple(
        (r.month_end, to_pct(r.days_rate), context.count(r.overdue, list_past.name_past(r.month_end), imo), r.units) for r in mine
    )
    columns = name_columns(
        "month_end=Month up to:date; unit_days_overdue_pct=Unit-days overdue:percent; "
        "overdue_units=Units overdue at its end:count; units=Units in service:count"
    )
    series = [charts.Series("any duty", tuple(r[0] for r in rows), tuple(r[1] for r in rows))]
    pair = standing.compare_years(data.months)
    title = "No month yet"
    if rows:
        now = f"{words.say_percent(rows[-1][1])} of unit-days overdue in {words.say_month_to(rows[-1][0])}"
        title = standing.say_years(pair) if pair else now
    return Chart(
        "trend",
        title,
        f"Share of unit-days overdue on {context.book.list_any()}.",
        time_charts.draw_lines(series, "unit-days overdue, %", " %"),
        Table("trend", "Month by month", columns, rows, empty="No month with a unit in service yet."),
    )


def list_mix(data: VesselData, context: Context, imo: str) -> Table:
    """What agents the vessel's units in service hold."""
    totals = {agent: [r for r in data.mix if r.agent == agent] for agent in dict.fromkeys(r.agent for r in data.mix)}
    every = sum(r.units for r in data.mix)
    columns = name_columns("agent=Agent; units=Units:count; units_pct=Share of units:percent; obsolete_units=Obsolete kind:count")
    rows = tuple(
        (
            words.say_capital(words.say_slug(agent)),
            context.count(sum(r.units for r in rows), f"agent-{name_safely(agent)}", imo),
            words.round_to(100 * sum(r.units for r in rows) / every, 1),
            context.count(sum(r.obsolete_units or 0 for r in rows), f"obsolete-agent-{name_safely(agent)}", imo),
        )
        for agent, rows in sorted(totals.items(), key=lambda pair: agent_tables.order_agent(pair[0]))
        if every
    )
    return Table("agents", "Units in service by agent", columns, rows, empty="No unit is in service on this vessel.")


def say_grounds(data: VesselData, context: Context) -> str:
    """What the overdue items rest on, where there are any."""
    late = [item for item in data.items if item.state == "overdue"]
    return due_words.say_grounds(late, context) if late else ""


def list_units(vessel: Vessel, data: VesselData, context: Context) -> tuple[Table | Note, ...]:
    """The register, and where the same units stand with what is against each."""
    register = vessel_lists.list_register(data, context)
    if not data.units:
        return (register,)
    link = Link("this vessel’s units in the register of all units", f"register.html#vessel={vessel.imo_number}")
    return register, Note("With what stands against each and what is due next:", links=(link,))


def make_page(vessel: Vessel, data: VesselData, context: Context, siblings: tuple[Link, ...]) -> Page:
    """The page of one vessel."""
    sections = (
        Section(
            "standing",
            "On this day",
            (vessel_words.list_facts(vessel, data, context), *vessel_fitness.list_notes(vessel, data, context)),
        ),
        Section("overdue", "Overdue", vessel_lists.list_late(data, context), say_grounds(data, context), is_wide=True),
        Section(
            "ahead",
            "The next 90 days",
            (vessel_lists.list_ahead(data, context, vessel.imo_number),),
            "The due list below names each of them.",
        ),
        Section(
            "months",
            "The coming year",
            (vessel_months.list_months(data, context, vessel.imo_number),),
            "To plan a yard, a service station or a port call.",
            is_wide=True,
        ),
        Section(
            "due",
            "Due list",
            (vessel_lists.list_due(data, context, vessel.imo_number), *due_calendar.tell_calendar(vessel.imo_number, context)),
            "Prints on A4, with room to note what was done.",
            is_wide=True,
        ),
        Section("findings", "Open findings", (vessel_lists.list_findings(data, context),), is_wide=True),
        *vessel_fitness.list_sections(data, context),
        Section(
            "trend",
            "The course so far",
            (chart_trend(data, context, vessel.imo_number),),
            "figure.count_interval in the database tells which units were in service on a past day.",
        ),
        Section("agents", "Agents", (list_mix(data, context, vessel.imo_number),)),
        Section("register", "Unit register", list_units(vessel, data, context), is_wide=True),
    )
    return Page(
        vessel.link.href,
        vessel.name,
        f"IMO {vessel.imo_number}"
        + "".join(
            f", {part}"
            for part in (vessel.vessel_type, f"flag {vessel.flag}" if vessel.flag else "", "laid up" if vessel.is_laid_up else "")
            if part
        ),
        vessel_words.write_answer(vessel, data, context),
        sections,
        nav="index.html",
        crumbs=(Link("All vessels", "index.html#vessels"), Link("One-page sheet to print", vessel.sheet_href)),
        siblings=siblings,
        is_caution_on_top=True,
    )


def make_pages(every: Callable[[str], VesselData], context: Context, part: Sequence[str]) -> Iterator[Page]:
    """The pages of these vessels."""
    wanted = set(part)
    for i, vessel in enumerate(context.vessels):
        if vessel.imo_number not in wanted:
            continue
        near = [
            Link(f"{word}: {v.name}", v.link.href)
            for word, v in (
                ("Previous", context.vessels[i - 1] if i else None),
                ("Next", context.vessels[i + 1] if i + 1 < len(context.vessels) else None),
            )
            if v
        ]
        yield make_page(vessel, every(vessel.imo_number), context, tuple(near))
