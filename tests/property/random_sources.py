"""Random sources: a small fleet's rows of one or several tables, in a random dialect and a random style of writing.

In: a chooser and who there is. Out: `Source`s (see dialect_writer.py) whose every record must load, and exactly as its
canonical rows say.
"""

from __future__ import annotations

import unicodedata

from pipeline import contract
from tests.property.canonical import Row
from tests.property.choosers import Chooser
from tests.property.dialect_writer import LINE_END, Record, Source, looks_like_open_quote
from tests.property.random_cells import fold
from tests.property.random_dialects import DAY_FIRST, MONTH_FIRST, TABLES, Ships, SourceMaker


def draw_row(maker: SourceMaker, table: str, unit: tuple[str, str]) -> tuple[dict[str, str], Row]:
    """(cells by header, canonical row) of one row about a unit or its vessel."""
    cells: dict[str, str] = {}
    row: Row = {}
    given = {"unit_id": unit[0], "imo_number": unit[1]}
    for plan in maker.plans[table]:
        if plan.column in given:
            row[plan.column] = given[plan.column]
            if plan.header:
                shown = given[plan.column].removeprefix(maker.ships.prefix) if plan.draw == "tail" else given[plan.column]
                cells[plan.header] = maker.texts.pad(shown)
            continue
        cells[plan.header], value = plan.draw()
        if isinstance(value, tuple):
            value, row["made_on_precision"] = value
        row[plan.column] = value
    return cells, row


def needs(table: str) -> tuple[str, ...]:
    """Columns without which rows of the table can't be told apart or placed."""
    required = tuple(column.name for column in contract.tables()[table].columns if column.required)
    return tuple(dict.fromkeys((*required, *(name for name in TABLES[table] if not name.startswith(("charge", "in_service"))))))


def is_used(column: str, tables: tuple[str, ...]) -> bool:
    """Whether several tables share a file, and some of them has the column."""
    return len(tables) > 1 and any(column in contract.tables()[table].column_names for table in tables)


def make_source(chooser: Chooser, name: str, ships: Ships, tables: tuple[str, ...], may_ask: bool = True) -> Source:
    """A source of one table, or of several told apart by a kind of record."""
    maker = SourceMaker(chooser, name, ships, may_ask)
    shared = {column: maker.add_header() for column in ("unit_id", "imo_number") if is_used(column, tables)}
    kind = maker.add_header() if len(tables) > 1 else None
    kinds: dict[str, str] = {}
    for table in tables:
        maker.plan_table(table, shared, needs(table))
        if kind:
            words: dict[str, str] = {}
            maker.add_word(words, [], table, tuple(kinds.values()))
            kinds[table] = next(iter(words))
    records = draw_records(maker, tables, kind, kinds)
    return finish_source(maker, tables, kind, kinds, records)


def make_checklist(chooser: Chooser, name: str, ships: Ships) -> Source:
    """Inspections with a column a component: each cell that says something is a finding."""
    maker = SourceMaker(chooser, name, ships, False)
    maker.plan_table("inspection", {}, needs("inspection"))
    table = contract.tables()["finding"]
    components = [word for word in table.column("component").words if chooser.has_chance(30)] or ["pin"]
    columns = {maker.add_header(): component for component in components}
    words: dict[str, object] = {}
    for _ in range(3):
        given = {
            "defect": chooser.pick_one(table.column("defect").words),
            "severity": chooser.pick_one(table.column("severity").words),
        }
        maker.add_word(words, [], given, ())
    none_words: dict[str, object] = {}
    maker.add_word(none_words, [], "", tuple(words))
    wide = {"into": "component", "columns": columns, "none_words": list(none_words), "cells": words}
    entries = {plan.column: plan.entry for plan in maker.plans["inspection"]}
    shared = {"unit_id": entries["unit_id"], "imo_number": entries["imo_number"], "found_on": entries["inspected_on"]}
    feed = {"name": "finding", "columns": shared | {"found_by": {"constant": "inspection"}}, "wide": wide}
    records = [tick_list(maker, wide, *record) for record in draw_records(maker, ("inspection",), None, {})]
    source = finish_source(maker, ("inspection",), None, {}, records)
    source.spec["table"].append(feed)
    return source


def tick_list(maker: SourceMaker, wide: dict, cells: dict[str, str], rows: tuple) -> tuple[dict[str, str], tuple]:
    """The record with its check list filled in, and the findings that stand in it."""
    looked = rows[0][1]
    found = []
    for header, component in wide["columns"].items():
        kind = maker.chooser.pick_number(0, 2)
        cells[header] = maker.say_nothing()
        if kind == 1:
            cells[header] = maker.texts.pad(maker.texts.vary_case(wide["none_words"][0]))
        if kind == 2:
            word, given = maker.chooser.pick_one(list(wide["cells"].items()))
            cells[header] = maker.texts.pad(maker.texts.vary_case(word))
            row = {"unit_id": looked["unit_id"], "imo_number": looked["imo_number"], "found_on": looked["inspected_on"]}
            found.append(("finding", row | {"found_by": "inspection", "component": component} | given))
    return cells, (*rows, *found)


def draw_records(maker: SourceMaker, tables: tuple[str, ...], kind: str | None, kinds: dict[str, str]) -> list:
    """[(cells by header, rows)] with one row a key; every unit and vessel of the fleet has its row in the registers."""
    found: dict[tuple, tuple] = {}
    for table in tables:
        units = list(maker.ships.units)
        if table == "vessel":
            units = [("", imo_number) for imo_number in maker.ships.vessels]
        elif table not in ("unit",):
            units = [maker.chooser.pick_one(units) for _ in range(maker.chooser.pick_number(1, 5))]
        for unit in units:
            cells, row = draw_row(maker, table, unit)
            if kind:
                cells[kind] = maker.texts.pad(maker.texts.vary_case(kinds[table]))
            key = (table, *(row.get(column) for column in TABLES[table] if not column.startswith("charge")))
            found.setdefault(key, (cells, ((table, row),)))
    return list(found.values())


def make_record(cells: tuple[str, ...], rows: tuple[tuple[str, Row], ...], delimiter: str) -> Record:
    """The record; on one line if it would be taken for a quote gone astray."""
    if not looks_like_open_quote(cells, delimiter):
        return Record(cells, rows)
    plain = tuple((table, {name: join_lines(value) for name, value in row.items()}) for table, row in rows)
    return Record(tuple(map(join_lines, cells)), plain)


def join_lines(value: object) -> object:
    return LINE_END.sub(" ", value) if isinstance(value, str) else value


def finish_source(maker: SourceMaker, tables, kind, kinds, records) -> Source:
    """Put the columns in an order of the source's own, add what is not read, and write the dialect down."""
    chooser = maker.chooser
    ignored = [maker.add_header() for _ in range(chooser.pick_one((0, 0, 1, 2)))]
    headers = sorted(maker.headers, key=lambda _: chooser.pick_number(0, 99))
    if ignored and chooser.has_chance(30):
        headers.append(ignored[0])
    if chooser.has_chance(15):
        headers.append("")
    lines = []
    for cells, rows in records:
        shown = tuple(cells[h] if h in cells else maker.texts.draw_word() if h in ignored else "" for h in headers)
        lines.append(make_record(shown, rows, maker.style.delimiter))
    settle_pairs(maker, headers, lines)
    spec = write_spec(maker, tables, kind, kinds, ignored)
    source = Source(maker.name, spec, maker.style, headers, lines, [write_header(maker, header) for header in headers])
    add_totals(maker, source)
    return source


def write_header(maker: SourceMaker, header: str) -> str:
    apart = unicodedata.normalize("NFD", header)
    return maker.texts.pad(apart if maker.chooser.has_chance(50) and maker.texts.can_write(apart) else header)


def write_spec(maker: SourceMaker, tables, kind, kinds, ignored) -> dict:
    chooser, style = maker.chooser, maker.style
    spec: dict = {"name": maker.name, "files": [f"*{maker.name}_*"], "encoding": style.encoding, "delimiter": style.delimiter}
    spec |= {"decimal_mark": maker.decimal, "thousands_mark": maker.thousands, "date_formats": list(maker.forms)}
    spec |= {"null_words": maker.nulls, "skip_head": len(style.head), "skip_foot": len(style.foot), "ignore_columns": ignored}
    spec["repeated_header"] = chooser.has_chance(50)
    spec["table"] = []
    for table in tables:
        columns = {plan.column: plan.entry for plan in maker.plans[table]}
        feed = {"name": table} | ({"when": {"column": kind, "is": [maker.texts.vary_case(kinds[table])]}} if kind else {})
        spec["table"].append(feed | {"columns": columns})
    return spec


def settle_pairs(maker: SourceMaker, headers: list[str], records: list[Record]) -> None:
    """Where the file itself does not tell day from month, the dialect names only the form that is used."""
    for plan in (plan for plans in maker.plans.values() for plan in plans if plan.forms):
        if set(plan.entry.get("formats", ())) == {DAY_FIRST, MONTH_FIRST}:
            cells = [record.cells[headers.index(plan.header)].strip() for record in records]
            parts = [tuple(map(int, cell.split("/"))) for cell in cells if cell.count("/") == 2]
            if not any(day > 12 or month > 12 for day, month, _ in parts):
                plan.entry["formats"] = list(plan.forms)


def add_totals(maker: SourceMaker, source: Source) -> None:
    """Now and then rows that sum up, unless a true record would be taken for one."""
    if maker.chooser.has_chance(60):
        return
    place = maker.chooser.pick_number(0, len(source.headers) - 1)
    header, word = source.headers[place], maker.texts.draw_word()
    if not header or source.headers.count(header) > 1 or word != word.strip():
        return
    begins = maker.chooser.has_chance(50)
    told = [fold(record.cells[place]) for record in source.records]
    if any(cell == fold(word) or (begins and cell.startswith(fold(word))) for cell in told):
        return
    source.spec["total_rows"] = [{"column": header, "begins" if begins else "is": [maker.texts.vary_case(word)]}]
    for _ in range(2):
        cells = [maker.texts.draw_word() for _ in source.headers]
        cells[place] = maker.texts.pad(maker.texts.vary_case(word)) + (" 12" if begins else "")
        source.totals.append(tuple(cells))
