"""Unit: everything on record of one extinguisher, each figure with the line of the file that it comes from.

In: the context and one set of queries for all units. Out: unit/<name>.html for each unit that a register ever named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import duckdb
from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Context, Link, Note, Page, Section
from dashboards.pages import unit_data, unit_life, unit_tables, watch_tables, watch_words
from dashboards.pages.unit_data import UnitData

ROOT = "../"  # a unit's page lies one folder deep
COUNTED = {
    "in service": "in service on",
    "spare": "a spare unit of",
    "ashore": "ashore for service, of",
    "laid up": "laid up with",
}


def write_vessel(imo_number: str, context: Context) -> Markup:
    """The vessel's name, leading to its page where it has one."""
    link = context.link_vessel(imo_number)
    return (
        Markup('<a href="{}{}">{}</a>').format(ROOT, link.href, link.text)
        if isinstance(link, Link)
        else Markup("IMO {}").format(link)
    )


def say_place(data: UnitData, context: Context) -> Markup:
    """Where the unit is on the day, or when it left."""
    if data.standing:
        said = [
            Markup("{} {}{}").format(
                COUNTED[s.counted], write_vessel(s.imo_number, context),
                "".join(f", {words.cut_name(part)}" for part in (s.position_no, s.space_name) if part),
            )
            for s in data.standing
        ]  # fmt: skip
        return Markup("this unit is {}").format(Markup(words.say_list(said)))
    last = data.stays[-1]
    if last.removed_on is None or last.removed_on > context.as_of:
        return Markup("this unit is on no vessel of the fleet; its register row is of {}").format(
            write_vessel(last.imo_number, context)
        )
    why = f" ({words.say_slug(last.removal_reason)})" if last.removal_reason else ""
    return Markup("this unit is on no vessel of the fleet; its last stay, on {}, ended {}{}").format(
        write_vessel(last.imo_number, context), words.say_date(last.removed_on), why
    )


def say_against(data: UnitData) -> str:
    """How many reasons of each kind stand against it."""
    kinds = [v.verdict for v in data.verdicts]
    said = [
        f"{unit_tables.WORDS.get(kind, kind)} for {words.say_count(kinds.count(kind), 'reason')}"
        for kind in ("condemn", "unfit", "placement", "doubt")
        if kind in kinds
    ]
    return (
        f"By the rules in force it is {words.say_list(said)}."
        if said
        else "By the rules in force nothing on record stands against it."
    )


def say_duties(data: UnitData, context: Context) -> str:
    """What is late, and what can't be told."""
    if not data.duties:
        return ""
    late = [context.book.name_duty(d.duty) for d in data.duties if d.state == "overdue" and not d.is_group]
    group = [context.book.name_duty(d.duty) for d in data.duties if d.state == "overdue" and d.is_group]
    unknown = [context.book.name_duty(d.duty) for d in data.duties if d.state == "unknown"]
    said = f" It is overdue for {words.say_list(late)}." if late else " Of its own duties nothing is overdue."
    said += f" Its group is overdue for {words.say_list(group)}." if group else ""
    return said + (f" The due date of {words.say_list(unknown)} can't be told." if unknown else "")


def say_kind(data: UnitData) -> str:
    """'powder, 6 kg, portable'."""
    row = data.stays[-1]
    detail = f" ({words.cut_name(row.agent_detail)})" if row.agent_detail else ""
    charge = words.say_charge(row.charge_l, row.charge_kg) if row.charge_l or row.charge_kg else ""
    parts = [f"{words.say_slug(row.agent)}{detail}" if row.agent else "agent not stated", charge, row.form or ""]
    return ", ".join(part for part in parts if part)


def list_watch(data: UnitData) -> tuple[Section, ...]:
    """Its place on the watch list, where it has one."""
    if not data.watch:
        return ()
    first = data.watch[0]
    said = f"Rank {words.say_number(first.list_rank)} of the watch list: {watch_tables.say_standing(first)}. What would move it: {first.would_change}."
    note = Note(said, links=(Link("The whole list", "watch-list.html"),))
    return (Section("watch", "Watch list", (note, unit_tables.list_watch(data)), watch_words.CAUTION, is_wide=True),)


def make_page(data: UnitData, context: Context) -> Page:
    """The page of one unit."""
    life, remarks = unit_life.draw_life(data, context.as_of), unit_tables.list_remarks(data)
    sections = [
        Section("against", "What stands against it", (unit_tables.list_against(data),), is_wide=True),
        Section("duties", "Duties", (unit_tables.list_duties(data, context),), is_wide=True),
        *list_watch(data),
        Section("register", "Register", (unit_tables.list_stays(data, context), unit_tables.tell_terms(data)), is_wide=True),
        Section("records", "Records", ((life,) if life else ()) + (unit_tables.list_records(data, context),), is_wide=True),
    ]
    if remarks:
        sections.append(Section("remarks", "Doubts, corrections, rows kept out", remarks, is_wide=True))
    here = [context.link_vessel(imo) for imo in dict.fromkeys(s.imo_number for s in data.standing)]
    return Page(
        context.unit_pages[data.unit_id],
        words.cut_name(data.unit_id, words.MOST_NAME),
        say_kind(data),
        Markup("On {} {}. {}{}").format(
            words.say_date(context.as_of), say_place(data, context), say_against(data), say_duties(data, context)
        ),
        tuple(sections),
        nav="index.html",
        crumbs=(Link("Fleet", "index.html"), *(link for link in here if isinstance(link, Link))),
        is_caution_on_top=True,
    )


def make_pages(con: duckdb.DuckDBPyConnection, context: Context, part: Sequence[str]) -> Iterator[Page]:
    """The pages of these units, which are neighbours in the order of their numbers, from one set of queries."""
    for data in unit_data.read_units(con, context, part):
        yield make_page(data, context)
