"""Vessel sheet: the state of one vessel on one page of A4, for the clipboard and the file.

In: what the vessel's page is made from. Out: vessel/<imo>-sheet.html. The lists share the lines that the paper has: what falls due, what is
short and what was found take theirs first, the rest is for what is overdue and what stands against units. What is left out is counted, and
stands on the vessel's page.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from dashboards import words
from dashboards.blocks import Column, Context, Link, Note, Page, Section, Table, Vessel
from dashboards.pages import sheet_rows, vessel_sheet_lists, vessel_words
from dashboards.pages.vessel_data import VesselData

LINES = 31  # of all lists together, at the worst of what else the sheet holds
DUE, SHORT, FOUND, HEAD = 8, 5, 9, 3  # most lines of the lower lists; what a second heading in a column takes
NAME_LETTERS, AGENT_LETTERS = 15, 105  # on a line of the vessel's name, and of the agents
SIGNED = Table(
    "signed",
    "Seen by",
    (
        Column("name", "Name", "blank"),
        Column("rank", "Rank or office", "blank"),
        Column("on", "Date", "blank"),
        Column("sign", "Signature", "blank"),
    ),
    ((None, None, None, None),),
    has_twin=False,
)


def say_agents(data: VesselData) -> Note:
    """Units in service by agent, the most first."""
    totals: dict[str, int] = {}
    for row in data.mix:
        totals[row.agent] = totals.get(row.agent, 0) + row.units
    said = [f"{words.say_slug(a)} {words.say_number(n)}" for a, n in sorted(totals.items(), key=lambda pair: (-pair[1], pair[0]))]
    return Note(
        sheet_rows.fit_text(f"In service by agent: {', '.join(said)}." if said else "No unit is in service.", AGENT_LETTERS)[0]
    )


def cut_lists(data: VesselData, context: Context) -> dict[str, Table]:
    """Every list with the lines it may have."""
    ahead, short, found = (
        vessel_sheet_lists.list_ahead(data, context),
        vessel_sheet_lists.list_short(data),
        vessel_sheet_lists.list_found(data),
    )
    late, against = vessel_sheet_lists.list_late(data, context), vessel_sheet_lists.list_against(data)
    lower = max(ahead.count_lines(DUE) + HEAD + short.count_lines(SHORT), found.count_lines(FOUND))
    left = LINES - lower
    for_against = min(against.count_lines(left), max(left - late.count_lines(left), 2 * left // 5))
    lines = {"late": left - for_against, "against": for_against, "ahead": DUE, "short": SHORT, "found": FOUND}
    return {listing.name: listing.cut(lines[listing.name]) for listing in (late, against, ahead, short, found)}


def make_page(vessel: Vessel, data: VesselData, context: Context) -> Page:
    """The sheet of one vessel."""
    tables, named = cut_lists(data, context), replace(vessel, name=sheet_rows.fit_text(vessel.name, NAME_LETTERS)[0])
    parts = (
        ("late", "Overdue"),
        ("against", "Against units"),
        ("ahead", "Falling due"),
        ("short", "Numbers"),
        ("found", "Open findings"),
    )
    return Page(
        vessel.sheet_href,
        named.name,
        f"IMO {vessel.imo_number}, vessel sheet",
        vessel_words.write_answer(named, data, context, "on its page"),
        (
            Section("standing", "On this day", (vessel_words.list_facts(vessel, data, context), say_agents(data)), is_wide=True),
            *(Section(name, heading, (tables[name],), is_wide=True) for name, heading in parts),
            Section("signed", "Seen", (SIGNED,), is_wide=True),
        ),
        nav="index.html",
        crumbs=(Link("All of this vessel", vessel.link.href),),
        is_caution_on_top=True,
        is_sheet=True,
    )


def make_pages(every: Callable[[str], VesselData], context: Context, part: Sequence[str]) -> Iterator[Page]:
    """The sheets of these vessels."""
    for imo_number in part:
        yield make_page(context.by_imo[imo_number], every(imo_number), context)
