"""Agents: what agent mix does each vessel carry?

In: figure.agent_mix. Out: agents.html. A census of the units in service: shares carry no interval.
"""

from __future__ import annotations

import duckdb
from markupsafe import Markup

from dashboards import charts, words
from dashboards.blocks import Chart, Column, Context, Page, Section, Table, name_columns
from dashboards.database import group_rows, select_rows
from dashboards.pages import agent_tables

MOST_VESSELS = 30
MIX_SQL = """
    SELECT imo_number, coalesce(agent, 'not stated') AS agent, agent_detail, foam_kind, units, total_charge_l, total_charge_kg,
        spare_charges_held, obsolete_units
    FROM figure.agent_mix ORDER BY imo_number, agent, agent_detail, foam_kind"""


def chart_fleet(rows: list[agent_tables.Row]) -> Chart:
    """The fleet's mix as bars from zero, each agent in its own colour."""
    totals = agent_tables.sum_units(rows)
    every = sum(totals.values())
    ranked = sorted(totals, key=lambda a: (-totals[a], agent_tables.order_agent(a)))
    cells = tuple((words.say_capital(words.say_slug(a)), totals[a], round(100 * totals[a] / every, 1)) for a in ranked)
    columns = name_columns("agent=Agent; units=Units:count; units_pct=Share of units:percent")
    table = Table("fleet", "Units in service by agent, whole fleet", columns, cells, empty=agent_tables.EMPTY)
    texts = [words.say_share(totals[a], every) for a in ranked]
    figure = charts.draw_agents([c[0] for c in cells], ranked, [totals[a] for a in ranked], "units in service", texts)
    title = f"{cells[0][0]} is the most frequent agent: {texts[0]} units" if cells else "No unit in service"
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
    cells = tuple((context.link_vessel(i), *(by_vessel[i].get(a, 0) for a in agents), sum(by_vessel[i].values())) for i in picked)
    missing = [context.name_vessel(i) for i in every if len(by_vessel[i]) < len(agents)]
    title = f"{len(every) - len(missing)} of {words.say_count(len(every), 'vessel')} carry every agent that the fleet has"
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


def write_answer(rows: list[agent_tables.Row], context: Context) -> str:
    """The mix in a sentence."""
    totals, day = agent_tables.sum_units(rows), words.say_date(context.as_of)
    every, obsolete = sum(totals.values()), sum(r.obsolete_units or 0 for r in rows)
    if not every:
        return f"On {day} no unit is in service, so there is no mix to show."
    top = sorted(totals, key=lambda a: (-totals[a], agent_tables.order_agent(a)))[:3]
    mix = words.say_list([f"{words.say_percent(100 * totals[a] / every, 0)} {words.say_slug(a)}" for a in top])
    old = (
        f"{words.say_count(obsolete, 'unit')} {'is' if obsolete == 1 else 'are'} of an obsolete kind (foam "
        "made by reaction, or expelled by it)"
    )
    return Markup("On {} the fleet carries <strong>{}</strong> in service: {}{}. {}.").format(
        day, words.say_count(every, "unit"), mix, " and other agents" if len(totals) > 3 else "", words.say_capital(old)
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = select_rows(con, MIX_SQL)
    sections = (
        Section(
            "fleet",
            "The fleet's mix",
            (chart_fleet(rows), agent_tables.list_kinds(rows)),
            "By number of units. Charge is nominal: what the units hold when full.",
        ),
        Section(
            "vessels",
            "Vessel by vessel",
            (chart_vessels(rows, context),),
            "A mix differs with the spaces a vessel has; it is not good or bad by itself.",
        ),
        Section(
            "charges",
            "Charges and spares",
            (agent_tables.list_vessels(rows, context),),
            "Spare charges are those of the last count on record.",
            is_wide=True,
        ),
    )
    return Page("agents.html", "Agents", "What agent mix does each vessel carry?", write_answer(rows, context), sections)
