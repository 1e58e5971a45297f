"""The tables of the Agents page, and the order of agents.

In: rows of figure.agent_mix and record.spare. Out: units by agent, and tables of kinds, charges and spares.
"""

from __future__ import annotations

from typing import Any

from dashboards import palette, words
from dashboards.blocks import Context, Table, name_columns
from dashboards.pages.list_units import name_kind
from dashboards.pages.unit_names import name_safely

Row = Any


MOST_ROWS = 60


EMPTY = "No unit is in service on this date. Load a register of units (unit.csv) with their agent."


def order_agent(agent: str) -> tuple[int, str]:
    """The order of the colour standard, others after it."""
    return (palette.AGENTS.index(agent) if agent in palette.AGENTS else len(palette.AGENTS), agent)


def sum_units(rows: list[Row]) -> dict[str, int]:
    """Units by agent."""
    totals: dict[str, int] = {}
    for row in rows:
        totals[row.agent] = totals.get(row.agent, 0) + row.units
    return dict(sorted(totals.items(), key=lambda pair: order_agent(pair[0])))


def list_kinds(rows: list[Row], context: Context) -> Table:
    """The fleet by agent, detail and kind of foam, with charges, spares and obsolete kinds."""
    totals: dict[tuple, list] = {}
    for r in rows:
        total = totals.setdefault((r.agent, r.agent_detail or "", r.foam_kind or ""), [0, 0.0, 0.0, 0])
        for i, part in enumerate((r.units, r.total_charge_l, r.total_charge_kg, r.obsolete_units)):
            total[i] += float(part or 0) if i in (1, 2) else part or 0
    keys = sorted(totals, key=lambda k: (order_agent(k[0]), k))
    columns = name_columns(
        "agent=Agent; agent_detail=Detail; foam_kind=Foam made by; units=Units:count; charge_l=Charge, l:number; "
        "charge_kg=Charge, kg:number; obsolete_units=Obsolete kind:count"
    )
    foam = {"mechanical": "air and agitation", "chemical": "reaction", "": ""}
    cells = tuple(
        (
            words.say_capital(words.say_slug(k[0])),
            k[1],
            foam.get(k[2], k[2]),
            context.count(totals[k][0], f"kind-{name_safely('|'.join(k))}"),
            totals[k][1] or None,
            totals[k][2] or None,
            context.count(totals[k][3], f"obsolete-kind-{name_safely('|'.join(k))}"),
        )
        for k in keys
    )
    return Table("kinds", "Units in service and their nominal charge, whole fleet", columns, cells, empty=EMPTY)


def list_vessels(rows: list[Row], context: Context) -> Table:
    """Charge, spares and obsolete kinds, vessel by vessel and agent by agent."""
    columns = name_columns(
        "vessel=Vessel:link; agent=Agent; agent_detail=Detail; units=Units:count; charge_l=Charge, l:number; "
        "charge_kg=Charge, kg:number; obsolete_units=Obsolete kind:count; "
        "unsuitable_placements=In an unsuitable place:count"
    )
    mine = sorted(
        (r for r in rows if r.imo_number in context.by_imo),
        key=lambda r: (context.name_vessel(r.imo_number), r.imo_number, order_agent(r.agent)),
    )
    cells = tuple(
        (
            context.link_vessel(r.imo_number),
            words.say_capital(words.say_slug(r.agent)),
            r.agent_detail,
            context.count(r.units, f"kind-{name_kind(r)}", r.imo_number),
            r.total_charge_l,
            r.total_charge_kg,
            context.count(r.obsolete_units, f"obsolete-kind-{name_kind(r)}", r.imo_number),
            context.count(r.unsuitable_placements, f"unsuitable-kind-{name_kind(r)}", r.imo_number),
        )
        for r in mine
    )
    return Table(
        "charges",
        "By vessel: units in service and their nominal charge",
        columns,
        cells,
        empty=EMPTY,
        shown=MOST_ROWS,
    )


def list_spares(rows: list[Row], context: Context) -> Table:
    """Spare charges on board by the last count, a line for each vessel, agent and size."""
    columns = name_columns(
        "vessel=Vessel:link; agent=Agent; charge=Size:page_text; spare_charges=Spare charges:count; counted_on=Counted on:date; "
        "path=File and line:file_line; imo_number=IMO number:code twin; charge_l=Charge, l:number twin; charge_kg=Charge, kg:number twin"
    )
    mine = sorted(
        (r for r in rows if r.imo_number in context.by_imo),
        key=lambda r: (context.name_vessel(r.imo_number), r.imo_number, order_agent(r.agent), r.charge_l or 0, r.charge_kg or 0),
    )
    cells = tuple(
        (
            context.link_vessel(r.imo_number),
            words.say_capital(words.say_slug(r.agent)),
            words.say_charge(r.charge_l, r.charge_kg),
            r.spare_charges,
            r.counted_on,
            (r.path, r.line_no),
            r.imo_number,
            r.charge_l,
            r.charge_kg,
        )
        for r in mine
    )
    empty = "No count of spare charges is on record. Load one (spare.csv), or a check list that counts them."
    return Table("spares", "Spare charges on board, by vessel, agent and size", columns, cells, empty=empty, shown=MOST_ROWS)


def list_required(rows: list[Row], context: Context) -> Table:
    """Spare charges held against required, agent by agent; the vessel's one pool stands on its own page."""
    columns = name_columns(
        "vessel=Vessel:link; agent=Agent; spare_charges_held=Spare charges held:count; spare_charges_required=Required:count; "
        "refill_unknown_units=Units of which nobody said whether they can be refilled:count; imo_number=IMO number:code twin"
    )
    mine = sorted(
        (
            r
            for r in rows
            if r.imo_number in context.by_imo and (r.spare_charges_held is not None or r.spare_charges_required is not None)
        ),
        key=lambda r: (context.name_vessel(r.imo_number), r.imo_number, order_agent(r.agent)),
    )
    cells = tuple(
        (context.link_vessel(r.imo_number), words.say_capital(words.say_slug(r.agent)), r.spare_charges_held, r.spare_charges_required,
         context.count(r.refill_unknown_units, f"refill-{name_safely(r.agent)}", r.imo_number), r.imo_number) for r in mine
    )  # fmt: skip
    said = "Spare charges held and required, each agent by itself (at least as strict as one pool for the vessel)"
    return Table("required", said, columns, cells, empty="No rule about spare charges binds.", shown=MOST_ROWS)
