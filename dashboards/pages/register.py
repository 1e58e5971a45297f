"""Units: the register of the whole fleet, to search, sort and filter; its state stands in the address.

In: figure.unit_now, duty_now, verdict, placement_now, watch_list. Out: register.html, and parts/register.js that register.js searches: a row a
unit and vessel in the order of vessel and position, words as places in sorted lists, so that a place sorts as its word does.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import duckdb
from markupsafe import Markup

from dashboards import tables, words
from dashboards.blocks import Choice, Context, Link, Note, Page, Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages.unit_names import PLAIN, name_safely

Row = Any
# What can stand against a unit or set it apart, worst first: the flag of figure and page, and the word. `none` is what is left.
STATES = (
    ("condemn", "to condemn"),
    ("unfit", "unfit"),
    ("overdue", "overdue"),
    ("unknown", "due date unknown"),
    ("placement", "wrong place"),
    ("doubt", "to be looked at"),
    ("found", "open findings"),
    ("spare", "spare"),
    ("ashore", "ashore"),
    ("laid up", "laid up"),
    ("none", "nothing on record against it"),
)
UNITS_SQL = """
    WITH due AS (
        SELECT imo_number, unit_id, min(due_on) AS due_on, arg_min(duty, due_on) AS duty, bool_or(state = 'overdue') AS overdue,
            bool_or(state = 'unknown') AS unknown, list(duty ORDER BY due_on, duty) FILTER (state = 'overdue') AS late
        FROM (SELECT * FROM figure.duty_now WHERE NOT is_group ORDER BY due_on, duty) GROUP BY imo_number, unit_id),
    against AS (
        SELECT imo_number, unit_id, bool_or(verdict = 'condemn') AS condemn, bool_or(verdict = 'unfit') AS unfit,
            bool_or(verdict = 'placement') AS placement, bool_or(verdict = 'doubt') AS doubt
        FROM (SELECT imo_number, unit_id, verdict FROM figure.verdict UNION ALL SELECT imo_number, unit_id, verdict FROM figure.placement_now)
        GROUP BY imo_number, unit_id)
    SELECT n.imo_number, n.unit_id, n.counted, n.position_no, n.space_name, n.space_category, n.agent, n.agent_detail, n.form, n.charge_l, n.charge_kg,
        n.made_on, n.made_on_precision, due.due_on, due.duty, due.late, coalesce(overdue, false) AS overdue, coalesce(unknown, false) AS unknown,
        coalesce(condemn, false) AS condemn, coalesce(unfit, false) AS unfit, coalesce(placement, false) AS placement, coalesce(doubt, false) AS doubt,
        n.open_findings > 0 AS found, w.list_rank
    FROM figure.unit_now AS n LEFT JOIN due USING (imo_number, unit_id) LEFT JOIN against USING (imo_number, unit_id)
    LEFT JOIN (SELECT unit_id, min(list_rank) AS list_rank FROM figure.watch_list GROUP BY unit_id) AS w ON w.unit_id = n.unit_id
    QUALIFY row_number() OVER (PARTITION BY n.imo_number, n.unit_id
        ORDER BY n.counted <> 'in service', coalesce(n.in_service_on, n.made_on) DESC NULLS LAST, n.file_id, n.line_no) = 1
    ORDER BY n.imo_number, n.position_no NULLS LAST, n.unit_id"""
PLAIN_SAID = "To search and sort, the page needs a script. Each vessel’s page has its own register, and the CSV holds every unit."
HINT = "What you search, choose and sort by stands in the address of the page, so that it can be sent as a link."


def sort_naturally(text: str) -> tuple:
    """FE-9 before FE-10, whatever the letters' case."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", text.casefold()) if part
    ), text


def list_states(row: Row) -> list[int]:
    """Places of what stands against a unit, or of what it is counted as."""
    found = [i for i, (flag, _) in enumerate(STATES) if getattr(row, flag.replace(" ", "_"), False) or flag == row.counted]
    return found or [len(STATES) - 1]


def say_agent(row: Row) -> str:
    """'foam (AFFF)'."""
    detail = f" ({words.cut_name(row.agent_detail)})" if row.agent_detail else ""
    return f"{words.say_slug(row.agent)}{detail}" if row.agent else "not stated"


def say_charge(row: Row) -> str:
    """'9 l', '25 kg, wheeled'."""
    return words.say_charge(row.charge_l, row.charge_kg) + (", wheeled" if row.form == "wheeled" else "")


def say_late(row: Row, context: Context) -> str:
    """What a unit is overdue for, longest first: 'onboard check; annual service'."""
    return "; ".join(context.book.name_duty(duty) for duty in row.late or ())


def place_values(values: Sequence[str], key: Callable[[str], Any]) -> tuple[list[str], list[int]]:
    """The sorted distinct values, and the place of each."""
    every = sorted(set(values), key=key)
    places = {value: i for i, value in enumerate(every)}
    return every, [places[value] for value in values]


def count_days(day: date | None) -> int | None:
    """Days since 1970-01-01, as a script counts them."""
    return None if day is None else (day - date(1970, 1, 1)).days


def pack_units(rows: Sequence[Row], context: Context) -> dict:
    """Columns of the register: lists of words, and for each unit places in them or numbers. Words are whole: the CSV of what is shown holds them."""
    fold = str.casefold
    vessels = sorted({r.imo_number for r in rows}, key=lambda imo: (fold(context.name_vessel(imo)), imo))
    columns = {
        "position": place_values([r.position_no or "" for r in rows], sort_naturally),
        "space": place_values([r.space_name or "" for r in rows], sort_naturally),
        "kind": place_values([words.say_slug(r.space_category or "not_stated") for r in rows], fold),
        "agent": place_values([say_agent(r) for r in rows], fold),
        "charge": place_values([say_charge(r) for r in rows], sort_naturally),
        "made": place_values([f"{r.made_on or ''}|{words.say_part_date(r.made_on, r.made_on_precision)}" for r in rows], str),
        "late": place_values([say_late(r, context) for r in rows], fold),
        "duty": place_values([context.book.name_duty(r.duty) if r.duty else "" for r in rows], fold),
    }
    return {
        "as_of": count_days(context.as_of),
        "states": [
            [word, "" if flag == "none" else tables.SHAPES.get(flag, tables.SHAPES.get(word, "fine"))] for flag, word in STATES
        ],
        "vessels": [[imo, context.name_vessel(imo), imo in context.by_imo] for imo in vessels],
        "words": {name: every for name, (every, _) in columns.items()},
        "places": {name: places for name, (_, places) in columns.items()},
        "unit": [r.unit_id for r in rows],
        "order": place_values([r.unit_id for r in rows], sort_naturally)[1],
        "pages": {
            i: name_safely(r.unit_id)
            for i, r in enumerate(rows)
            if not PLAIN.fullmatch(r.unit_id) or name_safely(r.unit_id) != r.unit_id.lower()
        },
        "vessel": place_values([r.imo_number for r in rows], vessels.index)[1] if rows else [],
        "state": [sum(1 << i for i in list_states(r)) for r in rows],
        "due": [count_days(r.due_on) for r in rows],
        "rank": [r.list_rank for r in rows],
    }


def list_all(rows: Sequence[Row], context: Context) -> Table:
    """The CSV of every unit."""
    columns = name_columns(
        "unit_id=Unit; state=State; overdue_duties=Overdue for; vessel=Vessel; imo_number=IMO number; position_no=Position; space=Space; space_category=Kind of space; agent=Agent; "
        "charge=Charge; made_on=Made:part_date; next_due_on=Next due:date; next_duty=Duty; watch_rank=Watch list:count"
    )
    cells = tuple(
        (
            r.unit_id, "; ".join(STATES[i][1] for i in list_states(r)), say_late(r, context), context.name_vessel(r.imo_number), r.imo_number, r.position_no, r.space_name,
            words.say_slug(r.space_category or "not_stated"), say_agent(r), say_charge(r), (r.made_on, r.made_on_precision), r.due_on,
            context.book.name_duty(r.duty) if r.duty else "", r.list_rank,
        )
        for r in rows
    )  # fmt: skip
    return Table("units", "Every unit", columns, cells)


def write_answer(rows: Sequence[Row], context: Context) -> str:
    """How many there are, and how many have something against them."""
    day = words.say_date(context.as_of)
    if not rows:
        return f"On {day} no unit is on record for a vessel of the fleet.{context.empty_why}"
    service = sum(1 for r in rows if r.counted == "in service")
    late, unfit, condemn = (sum(1 for r in rows if getattr(r, flag)) for flag in ("overdue", "unfit", "condemn"))
    return Markup(
        "On {} the registers hold {}, {} of them in service: {} overdue for something, {} unfit, {} to be condemned."
    ).format(
        day,
        words.say_count(len(rows), "unit"),
        context.say_count(service, "in-service"),
        context.say_count(late, "overdue-units"),
        context.say_count(unfit, "unfit"),
        context.say_count(condemn, "condemn"),
    )


def make_page(con: duckdb.DuckDBPyConnection, context: Context) -> Page:
    """The page."""
    rows = select_rows(con, UNITS_SQL)
    block = Choice("units", pack_units(rows, context), (list_all(rows, context),), PLAIN_SAID, script="register")
    blocks: tuple = (
        (block,) if rows else (Note(f"No unit is on record. Load a register of units (unit.csv).{context.empty_why}", "empty"),)
    )
    plain = Note(
        "Registers of one vessel:", "unscripted", tuple(Link(v.name, f"{v.link.href}#register") for v in context.vessels)
    )
    blocks += (plain,) if rows and context.vessels else ()
    return Page(
        "register.html",
        "Units",
        "Where is a unit, and how does it stand?",
        write_answer(rows, context),
        (Section("units", "Every unit", blocks, HINT, is_wide=True),),
        is_caution_on_top=True,
    )
