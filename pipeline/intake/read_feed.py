"""One [[table]] of a dialect, checked key by key. In: its TOML table. Out: a `Feed`, or a `Fault` that names the key."""

from __future__ import annotations

from dataclasses import replace

import duckdb

from pipeline import contract
from pipeline.contract import Column, Table
from pipeline.intake.dialect import Feed, Source, Wide, fold_word
from pipeline.intake.dialect_keys import FLAG, TABLE, TEXT, TEXTS, Fault, check_kinds

FEED_KEYS = {"name": TEXT, "when": TABLE, "columns": TABLE, "wide": TABLE, "full_dump": TEXT}
WHEN_KEYS = {"column": TEXT, "is": TEXTS}
COLUMN_KEYS = {
    "from": TEXT, "constant": TEXT, "words": TABLE, "formats": TEXTS, "unit": TEXT, "prefix": TEXT, "precision_into": TEXT,
    "optional": FLAG, "match": TEXTS, "suffixes": TABLE,
}  # fmt: skip
WIDE_KEYS = {"into": TEXT, "columns": TABLE, "none_words": TEXTS, "cells": TABLE}
DUMPS = ("vessel", "fleet")
MATCHES = ("spacing", "case", "leading_zeros")


def check_formats(formats: list[str], where: str) -> tuple[str, ...]:
    """Date forms that DuckDB knows and that give a year: without one, every date would fall into 1900."""
    for form in formats:
        if not any(mark in form for mark in ("%Y", "%y", "%G", "%x", "%c")):
            raise Fault(where, f"{form!r} gives no year")
        if "%z" in form or "%Z" in form:
            raise Fault(where, f"{form!r} has a time zone, which could move the day; leave the zone out of the export")
        try:
            duckdb.execute("select try_strptime('', $form)", {"form": form})
        except duckdb.Error as error:
            raise Fault(where, f"{form!r} is no date form: {str(error).splitlines()[0]}") from error
    return tuple(formats)


def parse_feed(entry: dict, formats: tuple[str, ...], where: str) -> Feed:
    check_kinds(entry, FEED_KEYS, where, ("name",))
    if entry["name"] not in contract.tables():
        raise Fault(f"{where}name", f"{entry['name']!r} is no table; tables are {', '.join(contract.tables())}")
    table = contract.tables()[entry["name"]]
    columns = {
        name: _parse_source(table, name, value, formats, f"{where}columns.{name}")
        for name, value in entry.get("columns", {}).items()
    }
    columns = _share_suffixes(columns)
    when = entry.get("when")
    if when is not None:
        check_kinds(when, WHEN_KEYS, f"{where}when.", ("column", "is"))
        when = (when["column"], tuple(map(fold_word, when["is"])))
    wide = _parse_wide(table, entry["wide"], f"{where}wide.") if "wide" in entry else None
    if not columns and wide is None:
        raise Fault(f"{where}columns", "is missing or empty")
    if "full_dump" in entry and entry["full_dump"] not in DUMPS:
        raise Fault(f"{where}full_dump", f"must be one of {', '.join(DUMPS)}")
    return Feed(table.name, columns, when, wide, entry.get("full_dump"))


def _share_suffixes(columns: dict[str, Source]) -> dict[str, Source]:
    """Tell each column which suffixes of its header are another column's."""
    found = {}
    for name, source in columns.items():
        others = {suffix for other in columns.values() if other.header == source.header for suffix in other.suffixes}
        found[name] = replace(source, foreign=tuple(sorted(others - source.suffixes.keys()))) if source.suffixes else source
    return found


def _parse_source(table: Table, name: str, value: object, formats: tuple[str, ...], where: str) -> Source:
    column = _find_column(table, name, where)
    if not isinstance(value, str | dict):
        raise Fault(where, f"must be a header or a table, not {value!r}")
    spec = {"from": value} if isinstance(value, str) else value
    check_kinds(spec, COLUMN_KEYS, f"{where}.")
    if ("from" in spec) == ("constant" in spec) or not (spec.get("from") or spec.get("constant")):
        raise Fault(where, "needs either `from` (a header) or `constant` (a value), and it must not be empty")
    _check_unit(column, spec.get("unit"), f"{where}.unit")
    suffixes = _parse_suffixes(column, spec.get("suffixes", {}), f"{where}.suffixes")
    if "precision_into" in spec:
        into = _find_column(table, spec["precision_into"], f"{where}.precision_into")
        if column.type != "date" or not {"day", "month", "year"} <= set(into.words):
            raise Fault(f"{where}.precision_into", "leads from a date to a column with the words day, month, year")
    if spec.get("match") and (name != "unit_id" or not set(spec["match"]) <= set(MATCHES)):
        raise Fault(f"{where}.match", f"is for unit_id and takes {', '.join(MATCHES)}")
    own = check_formats(spec["formats"], f"{where}.formats") if "formats" in spec else formats
    return Source(
        header=spec.get("from"),
        constant=spec.get("constant"),
        words=_parse_words(column, spec.get("words", {}), f"{where}.words"),
        formats=own if column.type == "date" else (),
        unit=spec.get("unit"),
        prefix=spec.get("prefix", ""),
        precision_into=spec.get("precision_into"),
        is_optional=spec.get("optional", False),
        match=tuple(sorted(set(spec.get("match", ())))),
        suffixes=suffixes,
    )


def _find_column(table: Table, name: str, where: str) -> Column:
    if name not in table.column_names:
        raise Fault(where, f"{name!r} is no such column; the table {table.name} has {', '.join(table.column_names)}")
    return table.column(name)


def _check_unit(column: Column, unit: str | None, where: str) -> None:
    if unit is None or (column.unit is not None and unit in contract.conversions(column.unit)):
        return
    known = ", ".join(contract.conversions(column.unit)) if column.unit else "none: it has no unit"
    raise Fault(where, f"{unit!r} can't be converted; possible are {known}")


def _parse_suffixes(column: Column, suffixes: dict, where: str) -> dict[str, str]:
    """Units as the cells carry them, in lower case without spaces, to units of measure."""
    found = {}
    for suffix, unit in suffixes.items():
        if not isinstance(unit, str):
            raise Fault(f"{where}.{suffix}", "must be a unit of measure")
        _check_unit(column, unit, f"{where}.{suffix}")
        folded = "".join(suffix.lower().split())
        if not folded or folded[0] in "0123456789.,":
            raise Fault(f"{where}.{suffix}", "must be what stands after the number")
        found[folded] = unit
    return found


def _parse_words(column: Column, words: dict, where: str) -> dict[str, str]:
    """Words of the source, trimmed and lower case, to the contract's words; a boolean may be written true or "true"."""
    allowed = ("true", "false") if column.type == "boolean" else column.words
    found: dict[str, str] = {}
    for word, target in words.items():
        target = str(target).lower() if isinstance(target, bool) else target
        slug = fold_word(word)
        if not isinstance(target, str) or (allowed and target not in allowed):
            raise Fault(f"{where}.{word}", f"{target!r} is not in the vocabulary {', '.join(allowed) or 'of texts'}")
        if found.get(slug, target) != target:
            raise Fault(f"{where}.{word}", "stands there twice (case doesn't count) with different meanings")
        found[slug] = target
    return found


def _parse_wide(table: Table, spec: dict, where: str) -> Wide:
    check_kinds(spec, WIDE_KEYS, where, ("into", "columns", "cells"))
    into = _find_column(table, spec["into"], f"{where}into")
    headers = {}
    for header, value in spec["columns"].items():
        headers[header] = _check_value(into, value, f"{where}columns.{header}")
    cells = {}
    for word, given in spec["cells"].items():
        if not isinstance(given, dict) or not given:
            raise Fault(f"{where}cells.{word}", "must be a table of columns and their values")
        cells[fold_word(word)] = {
            name: _check_value(_find_column(table, name, f"{where}cells.{word}"), value, f"{where}cells.{word}.{name}")
            for name, value in given.items()
        }
    named = next((c.name for c in table.columns if c.type == "word" and any(c.name in given for given in cells.values())), None)
    if named is None:
        raise Fault(f"{where}cells", "must give at least one column that has a vocabulary, such as defect")
    none_words = tuple(map(fold_word, spec.get("none_words", ())))
    return Wide(into.name, headers, none_words, cells, named)


def _check_value(column: Column, value: object, where: str) -> str:
    """A value written into the dialect itself: text, a number or true and false, in the vocabulary if there is one."""
    if isinstance(value, bool):
        value = str(value).lower()
    elif isinstance(value, int | float):
        value = str(value)
    if not isinstance(value, str) or (column.words and value not in column.words):
        raise Fault(where, f"{value!r} is not in the vocabulary {', '.join(column.words) or 'of texts'}")
    return value
