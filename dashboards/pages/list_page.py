"""The lists behind the numbers: which units, why each of them counts, and the line of the file that shows it.

In: `ListBook`, and which of its lists a number leads to. Out: list/<fleet or IMO number>/<name>.html, further pages beyond 250 lines, and a CSV of
all where there are several pages.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import duckdb

from dashboards import words
from dashboards.blocks import FLEET, Context, Link, Note, Page, Section, Table, name_columns
from dashboards.database import select_rows
from dashboards.pages import (
    list_flow,
    list_found,
    list_items,
    list_numbers,
    list_past,
    list_reasons,
    list_services,
    list_track,
    list_units,
)
from dashboards.pages.list_book import ListBook
from dashboards.pages.unit_names import name_page

PER_PAGE = 250
MOST_PAGES = 4  # of one list: nobody reads on, and a large fleet has lists of all its units; what is beyond stands in the CSV
SOURCES = (
    list_units.list_units,
    list_units.list_findings,
    list_items.list_items,
    list_reasons.list_verdicts,
    list_reasons.list_hard,
    list_reasons.list_ages,
    list_reasons.list_pits,
    list_past.list_past,
    list_flow.list_flow,
    list_numbers.list_numbers,
    list_services.list_services,
    list_track.list_track,
    list_found.list_found,
)
COLUMNS = name_columns(
    "unit=Unit:unit; why=Counts because:long; vessel=Vessel:link; place=Position, space:long; path=File and line:file_line"
)
REMARK = "Each unit leads to its page, with every record that it has."


def name_units(con: duckdb.DuckDBPyConnection, context: Context) -> Context:
    """The context in which units lead to their pages."""
    units = select_rows(con, "SELECT DISTINCT unit_id FROM record.unit WHERE unit_id IS NOT NULL ORDER BY unit_id")
    return replace(context, unit_pages={row.unit_id: name_page(row.unit_id) for row in units})


def read_book(con: duckdb.DuckDBPyConnection, context: Context) -> tuple[ListBook, Context]:
    """Every list, and the context in which numbers and units lead to their pages."""
    context = context if context.unit_pages else name_units(con, context)
    book = ListBook()
    for source in SOURCES:
        book.add(source(con, context), context)
    return book, replace(context, lists=book.count())


def list_further(path: str, number: int, pages: int) -> tuple[Link, ...]:
    """To the pages before and after this one."""
    near = ((number - 1, "Lines before these"), (number + 1, "Lines after these"))
    return tuple(Link(text, name_part(path, n)) for n, text in near if 1 <= n <= pages)


def name_part(path: str, number: int) -> str:
    """list/fleet/overdue-any.html, list/fleet/overdue-any.2.html."""
    return f"{path}.html" if number == 1 else f"{path}.{number}.html"


def list_lines(book: ListBook, path: str, number: int, context: Context) -> Table:
    """The lines of one page; the first page of several has a CSV of all."""
    entries = book.entries[path]
    first, is_whole = (number - 1) * PER_PAGE, number == 1 and len(entries) > PER_PAGE
    last = min(first + PER_PAGE, len(entries))
    which = f"Lines {words.say_number(first + 1)} to {words.say_number(last)} of {words.say_number(len(entries))}"
    rows = tuple(book.line(entry, context) for entry in (entries if is_whole else entries[first:last]))
    return Table("lines", which, COLUMNS, rows, shown=last if is_whole else None, has_twin=is_whole)


def list_blocks(book: ListBook, path: str, number: int, context: Context) -> tuple[Table | Note, ...]:
    """The lines, and where the others are: on further pages, and beyond those in the CSV alone."""
    entries = book.entries[path]
    pages = min(-(-len(entries) // PER_PAGE), MOST_PAGES)
    further, table = list_further(path, number, pages), list_lines(book, path, number, context)
    if not further:
        return (table,)
    rest = len(entries) - pages * PER_PAGE
    where = Link("in the CSV of the first page", f"{path}.html#lines")
    said = f"{words.say_count(rest, 'further line')} stand{'s' if rest == 1 else ''}" if rest > 0 and number == pages else ""
    return (table, Note("The list goes on:", links=further), *((Note(said, links=(where,)),) if said else ()))


def make_pages(book: ListBook, context: Context, part: Sequence[str]) -> Iterator[Page]:
    """These lists."""
    for path in part:
        entries, title, scope = book.entries[path], book.titles[path], path.split("/")[1]
        back = Link("Fleet", "index.html") if scope == FLEET else context.by_imo[scope].link
        held = words.say_number(len(entries))
        for number in range(1, min(-(-len(entries) // PER_PAGE), MOST_PAGES) + 1):
            yield Page(
                name_part(path, number),
                words.cut_name(title, words.MOST_NAME),
                "Which are they, and which record says so?",
                f"On {words.say_date(context.as_of)} this list holds {held}, each with the record that says so.",
                (Section("lines", "The list", list_blocks(book, path, number, context), REMARK, is_wide=True),),
                nav="index.html",
                crumbs=(back,),
                is_caution_on_top=True,
                is_one_of_many=True,
            )
