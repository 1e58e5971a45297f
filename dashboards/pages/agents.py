"""Agents: what agent mix does each vessel carry?

In: figure.agent_mix, record.spare. Out: agents.html. A census of the units in service: shares carry no interval.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import charts, words
from dashboards.blocks import Chart, Column, Context, Page, Section, Table, name_columns
from dashboards.database import group_rows, select_rows
from dashboards.pages import agent_tables, choices
from dashboards.pages.unit_names import name_safely

MOST_VESSELS, MOST_NAMED = 30, 3
MIX_SQL = """
    SELECT imo_number, coalesce(agent, 'not stated') AS agent, agent_detail, foam_kind, units, total_charge_l, total_charge_kg,
        obsolete_units, spare_charges_held, spare_charges_required, unsuitable_placements, refill_unknown_units
    FROM figure.agent_mix WHERE units > 0 ORDER BY imo_number, agent, agent_detail, foam_kind"""
# The latest count of each vessel and agent; a size of which none was counted then is none held.
SPARES_SQL = """
    SELECT s.imo_number, s.agent, s.charge_l, s.charge_kg, s.spare_charges, s.counted_on, f.path, s.line_no
    FROM record.spare AS s LEFT JOIN intake.file AS f USING (file_id)
    WHERE s.counted_on <= $day
    QUALIFY s.counted_on = max(s.counted_on) OVER (PARTITION BY s.imo_number, s.agent)
    ORDER BY s.imo_number, s.agent, s.charge_l, s.charge_kg, f.path, s.line_no"""


def chart_fleet(rows: list[agent_tables.Row], context: Context) -> Chart:
    """The fleet's mix as bars from zero, each agent in its own colour."""
    totals = agent_tables.sum_units(rows)
    every = sum(totals.values())
    ranked = sorted(totals, key=lambda a: (-totals[a], agent_tables.order_agent(a)))
    cells = tuple(
        (
            words.say_capital(words.say_slug(a)),
            context.count(totals[a], f"agent-{name_safely(a)}"),
            words.round_to(100 * totals[a] / every, 1),
        )
        for a in ranked
    )
    columns = name_columns("agent=Agent; units=Units:count; units_pct=Share of units:percent")
    table = Table("fleet", "Units in service by agent, whole fleet", columns, cells, empty=agent_tables.EMPTY)
    texts = [f"{words.say_number(totals[a])} ({words.say_percent(100 * totals[a] / every)})" for a in ranked]
    figure = charts.draw_agents([c[0] for c in cells], ranked, [totals[a] for a in ranked], "units in service", texts)
    title = (
        f"{cells[0][0]} is the most frequent agent: {words.say_of(totals[ranked[0]], every, 'unit')}"
        if cells
        else "No unit in service"
    )
    return Chart(
        "fleet",
        title,
        (
            "Colours follow the colour-zone standard for extinguishers (BS 7863 with EN 3); clean agent, which it "
            "leaves open, is green here."
        ),
        figure,
        table,
    )


def chart_vessels(rows: list[agent_tables.Row], context: Context) -> Chart:
    """Stacked bars, a vessel each, by name."""
    by_vessel = {
        imo: agent_tables.sum_units(mine) for imo, mine in group_rows(rows, "imo_number").items() if imo in context.by_imo
    }
    every = sorted(by_vessel, key=lambda imo: (context.name_vessel(imo), imo))
    picked, agents = every[:MOST_VESSELS], sorted({a for mine in by_vessel.values() for a in mine}, key=agent_tables.order_agent)
    names = [context.name_vessel(imo) for imo in picked]
    series = [
        charts.Series(words.say_slug(a), tuple(names), tuple(by_vessel[i].get(a, 0) for i in picked), slug=a) for a in agents
    ]
    columns = (
        Column("vessel", "Vessel", "link"),
        *(Column(f"{a}_units", words.say_capital(words.say_slug(a)), "count") for a in agents),
        Column("units", "All", "count"),
    )
    cells = tuple(
        (
            context.link_vessel(i),
            *(context.count(by_vessel[i].get(a, 0), f"agent-{name_safely(a)}", i) for a in agents),
            context.count(sum(by_vessel[i].values()), "in-service", i),
        )
        for i in picked
    )
    missing = [context.name_vessel(i) for i in every if len(by_vessel[i]) < len(agents)]
    full = len(every) - len(missing)
    title = (
        f"{words.say_number(full) if full else 'None'} of {words.say_count(len(every), 'vessel')} "
        f"{words.say_verb(full, 'carries', 'carry')} every agent that the fleet has"
        if len(every) > 1
        else "The one vessel's mix"
    )
    said = "Vessels in order of name" + (
        f", the first {MOST_VESSELS} of {words.say_number(len(every))}; each vessel's own page has its mix."
        if len(every) > MOST_VESSELS
        else "."
    )
    return Chart(
        "vessels",
        title,
        said,
        charts.draw_stack(names, series, "units in service"),
        Table("vessels", "Units in service by vessel and agent", columns, cells, empty=agent_tables.EMPTY),
    )


def say_obsolete(rows: list[agent_tables.Row], context: Context) -> str | Markup:
    """How many units are of an obsolete kind, and which vessels hold them."""
    held: dict[str, int] = {}
    for row in (r for r in rows if r.obsolete_units):
        held[row.imo_number] = held.get(row.imo_number, 0) + row.obsolete_units
    total, ranked = sum(held.values()), sorted(held, key=lambda imo: (-held[imo], context.name_vessel(imo), imo))
    kind = "of an obsolete kind (foam made by reaction, or expelled by it)"
    if not total:
        return f"No unit is {kind}"
    named = [
        Markup("{} on {}").format(context.say_count(held[i], "obsolete", i), context.name_vessel(i)) for i in ranked[:MOST_NAMED]
    ]
    where = Markup(words.say_list(named))
    rest = f", {words.say_number(sum(held[imo] for imo in ranked[MOST_NAMED:]))} on others" if len(ranked) > MOST_NAMED else ""
    units = Markup("{} {}").format(context.say_count(total, "obsolete"), "unit" if total == 1 else "units")
    return Markup("{} {} {}: {}{}").format(units, words.say_verb(total, "is", "are"), kind, where, rest)


def write_answer(rows: list[agent_tables.Row], context: Context) -> str:
    """The mix in a sentence."""
    totals, day = agent_tables.sum_units(rows), words.say_date(context.as_of)
    every = sum(totals.values())
    if not every:
        return f"On {day} no unit is in service, so there is no mix to show.{context.empty_why}"
    top = sorted(totals, key=lambda a: (-totals[a], agent_tables.order_agent(a)))[:3]
    mix = words.say_list([f"{words.say_percent(100 * totals[a] / every, 0)} {words.say_slug(a)}" for a in top])
    return Markup("On {} the fleet carries <strong>{}</strong> in service: {}{}. {}.").format(
        day,
        Markup("{} {}").format(context.say_count(every, "in-service"), "unit" if every == 1 else "units"),
        mix,
        "; the rest other agents" if len(totals) > 3 else "",
        say_obsolete(rows, context),
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows, spares = select_rows(con, MIX_SQL), select_rows(con, SPARES_SQL, day=context.as_of)
    sections = (
        Section(
            "fleet",
            "The fleet's mix",
            (chart_fleet(rows, context), agent_tables.list_kinds(rows, context)),
            "By number of units. Charge is nominal: what the units hold when full.",
        ),
        Section(
            "vessels",
            "Vessel by vessel",
            (chart_vessels(rows, context),),
            "A mix differs with the spaces a vessel has; it is not good or bad by itself.",
        ),
        *choices.list_section(con, context, "agents"),
        Section(
            "charges",
            "Charges and spares",
            (
                agent_tables.list_vessels(rows, context),
                agent_tables.list_required(rows, context),
                agent_tables.list_spares(spares, context),
            ),
            "Spare charges are those of each vessel's last count of that agent.",
            is_wide=True,
        ),
    )
    return Page("agents.html", "Agents", "What agent mix does each vessel carry?", write_answer(rows, context), sections)
