"""A dialect TOML, checked key by key. In: its text. Out: a `Dialect`, or one sentence that names file and key.

A slip of the pen here must never become a silent loss: unknown keys, wrong types, words outside the vocabulary, date forms
that lose the year are all refused. So is a draft in which something is still marked "?".
"""

from __future__ import annotations

import codecs
import hashlib
import json
import tomllib
import unicodedata
from collections.abc import Iterator
from functools import cache

import duckdb

from pipeline import contract
from pipeline.contract import Column, Table
from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect, Feed, Source, TotalRow, Wide

TEXT, TEXTS, NUMBER, TABLE, FLAG = "text", "a list of texts", "a whole number", "a table", "true or false"
TOP_KEYS = {
    "name": TEXT, "about": TEXT, "files": TEXTS, "encoding": TEXT, "delimiter": TEXT, "decimal_mark": TEXT,
    "thousands_mark": TEXT, "date_formats": TEXTS, "null_words": TEXTS, "skip_head": NUMBER, "skip_foot": NUMBER,
    "ignore_columns": TEXTS, "repeated_header": FLAG, "total_rows": "a list of tables", "draft": FLAG, "table": "a list of tables",
}  # fmt: skip
FEED_KEYS = {"name": TEXT, "when": TABLE, "columns": TABLE, "wide": TABLE, "full_dump": TEXT}
TOTAL_KEYS = {"column": TEXT, "is": TEXTS, "begins": TEXTS}
WHEN_KEYS = {"column": TEXT, "is": TEXTS}
COLUMN_KEYS = {
    "from": TEXT, "constant": TEXT, "words": TABLE, "formats": TEXTS, "unit": TEXT, "prefix": TEXT, "precision_into": TEXT,
    "optional": FLAG, "match": TEXTS,
}  # fmt: skip
DUMPS = ("vessel", "fleet")
MATCHES = ("spacing", "case", "leading_zeros")
WIDE_KEYS = {"into": TEXT, "columns": TABLE, "none_words": TEXTS, "cells": TABLE}
IS_KIND = {
    TEXT: lambda value: isinstance(value, str),
    TEXTS: lambda value: isinstance(value, list) and all(isinstance(item, str) for item in value),
    NUMBER: lambda value: isinstance(value, int) and not isinstance(value, bool) and value >= 0,
    TABLE: lambda value: isinstance(value, dict),
    FLAG: lambda value: isinstance(value, bool),
    "a list of tables": lambda value: isinstance(value, list) and all(isinstance(item, dict) for item in value),
}


class _Fault(Exception):
    """A fault in a dialect, before the file name is known."""

    def __init__(self, key: str, why: str) -> None:
        super().__init__(why)
        self.key, self.why = key, why


def read_dialect(data: bytes, shown_as: str) -> Dialect:
    """Read and check one dialect. Raises UserError bad-dialect naming file and key, or unsettled-draft."""
    try:
        spec = tomllib.loads(data.decode("utf-8"))
        refuse_unsettled(spec, shown_as)
        return parse_dialect(spec)
    except _Fault as fault:
        raise UserError("bad-dialect", file=shown_as, key=fault.key, why=fault.why) from fault
    except ValueError as error:
        raise UserError("bad-dialect", file=shown_as, key="(whole file)", why=f"is not TOML: {error}") from error


def refuse_unsettled(spec: dict, shown_as: str) -> None:
    """Raise UserError unsettled-draft if a draft still has something marked "?"."""
    unsettled = list(find_unsettled(spec)) if spec.get("draft") is True else []
    if unsettled:
        more = f" and {len(unsettled) - 5} more" if len(unsettled) > 5 else ""
        raise UserError("unsettled-draft", file=shown_as, keys=", ".join(unsettled[:5]) + more)


def find_unsettled(value: object, where: str = "") -> Iterator[str]:
    """The keys of every key and text that begins with "?"."""
    if isinstance(value, dict):
        for key, inner in value.items():
            place = f"{where}.{key}" if where else key
            if key.startswith("?"):
                yield place
            else:
                yield from find_unsettled(inner, place)
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from find_unsettled(inner, f"{where}[{number}]")
    elif isinstance(value, str) and value.startswith("?"):
        yield where


def _compose(value: object) -> object:
    """Texts in Unicode's composed form, as the cells they are compared with (Unicode Standard Annex 15, NFC)."""
    if isinstance(value, dict):
        return {unicodedata.normalize("NFC", key): _compose(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_compose(inner) for inner in value]
    return unicodedata.normalize("NFC", value) if isinstance(value, str) else value


def parse_dialect(spec: dict) -> Dialect:
    """Check a parsed dialect and freeze it."""
    spec = _compose(spec)
    _check_kinds(spec, TOP_KEYS, "", ("name", "files", "table"))
    _check_encoding(spec.get("encoding", "utf-8"))
    _check_marks(spec)
    formats = _check_formats(spec.get("date_formats", ["%Y-%m-%d"]), "date_formats")
    totals = tuple(_parse_total(entry, f"total_rows[{number}].") for number, entry in enumerate(spec.get("total_rows", ())))
    feeds = tuple(_parse_feed(entry, formats, f"table[{number}].") for number, entry in enumerate(spec["table"]))
    return Dialect(
        name=spec["name"],
        files=tuple(spec["files"]),
        feeds=feeds,
        digest=hashlib.sha256(json.dumps(spec, default=str).encode()).hexdigest()[:16],
        encoding=spec.get("encoding", "utf-8"),
        delimiter=spec.get("delimiter", ","),
        decimal_mark=spec.get("decimal_mark", "."),
        thousands_mark=spec.get("thousands_mark", ""),
        null_words=tuple(spec.get("null_words", ())),
        skip_head=spec.get("skip_head", 0),
        skip_foot=spec.get("skip_foot", 0),
        ignore_columns=tuple(spec.get("ignore_columns", ())),
        has_repeated_header=spec.get("repeated_header", False),
        total_rows=totals,
    )


def _check_kinds(spec: dict, kinds: dict[str, str], where: str, needed: tuple[str, ...] = ()) -> None:
    """Every key known and of its kind, the needed ones there and not empty."""
    for key, value in spec.items():
        if key not in kinds:
            raise _Fault(f"{where}{key}", f"is not known; known are {', '.join(kinds)}")
        if not IS_KIND[kinds[key]](value):
            raise _Fault(f"{where}{key}", f"must be {kinds[key]}, not {value!r}")
    for key in needed:
        if not spec.get(key):
            raise _Fault(f"{where}{key}", "is missing or empty")


def _parse_total(entry: dict, where: str) -> TotalRow:
    _check_kinds(entry, TOTAL_KEYS, where, ("column",))
    words, begins = ([_fold(word) for word in entry.get(key, ())] for key in ("is", "begins"))
    if not any(words) and not any(begins) or not all(begins):
        raise _Fault(f"{where}is", "or `begins` must list at least one word, none of them empty")
    return TotalRow(entry["column"], tuple(words), tuple(begins))


def _fold(word: str) -> str:
    return word.strip().lower()


def _check_encoding(encoding: str) -> None:
    try:
        "a".encode(encoding).decode(encoding)
        codecs.getincrementaldecoder(encoding)("strict")
    except (LookupError, ValueError, TypeError) as error:
        raise _Fault("encoding", f"{encoding!r} is no encoding of text that Python knows") from error


def _check_marks(spec: dict) -> None:
    if len(spec.get("delimiter", ",")) != 1 or spec.get("delimiter") in ('"', "\r", "\n"):
        raise _Fault("delimiter", "must be one character, no quotation mark and no line end")
    if spec.get("decimal_mark", ".") not in (".", ","):
        raise _Fault("decimal_mark", "must be a point or a comma")
    if spec.get("thousands_mark", "") not in ("", ".", ",", " ", "'", "\u2019", "\u00a0", "\u202f"):
        raise _Fault("thousands_mark", "must be a point, a comma, an apostrophe or a space")
    if spec.get("thousands_mark", "") == spec.get("decimal_mark", "."):
        raise _Fault("thousands_mark", "must differ from decimal_mark")


def _check_formats(formats: list[str], where: str) -> tuple[str, ...]:
    """Date forms that DuckDB knows and that give a year: without one, every date would fall into 1900."""
    for form in formats:
        if not any(mark in form for mark in ("%Y", "%y", "%G", "%x", "%c")):
            raise _Fault(where, f"{form!r} gives no year")
        if "%z" in form or "%Z" in form:
            raise _Fault(where, f"{form!r} has a time zone, which could move the day; leave the zone out of the export")
        try:
            duckdb.execute("select try_strptime('', $form)", {"form": form})
        except duckdb.Error as error:
            raise _Fault(where, f"{form!r} is no date form: {str(error).splitlines()[0]}") from error
    return tuple(formats)


def _parse_feed(entry: dict, formats: tuple[str, ...], where: str) -> Feed:
    _check_kinds(entry, FEED_KEYS, where, ("name",))
    if entry["name"] not in contract.tables():
        raise _Fault(f"{where}name", f"{entry['name']!r} is no table; tables are {', '.join(contract.tables())}")
    table = contract.tables()[entry["name"]]
    columns = {
        name: _parse_source(table, name, value, formats, f"{where}columns.{name}")
        for name, value in entry.get("columns", {}).items()
    }
    when = entry.get("when")
    if when is not None:
        _check_kinds(when, WHEN_KEYS, f"{where}when.", ("column", "is"))
        when = (when["column"], tuple(map(_fold, when["is"])))
    wide = _parse_wide(table, entry["wide"], f"{where}wide.") if "wide" in entry else None
    if not columns and wide is None:
        raise _Fault(f"{where}columns", "is missing or empty")
    if "full_dump" in entry and entry["full_dump"] not in DUMPS:
        raise _Fault(f"{where}full_dump", f"must be one of {', '.join(DUMPS)}")
    return Feed(table.name, columns, when, wide, entry.get("full_dump"))


def _parse_source(table: Table, name: str, value: object, formats: tuple[str, ...], where: str) -> Source:
    column = _find_column(table, name, where)
    if not isinstance(value, str | dict):
        raise _Fault(where, f"must be a header or a table, not {value!r}")
    spec = {"from": value} if isinstance(value, str) else value
    _check_kinds(spec, COLUMN_KEYS, f"{where}.")
    if ("from" in spec) == ("constant" in spec) or not (spec.get("from") or spec.get("constant")):
        raise _Fault(where, "needs either `from` (a header) or `constant` (a value), and it must not be empty")
    _check_unit(column, spec.get("unit"), f"{where}.unit")
    if "precision_into" in spec:
        into = _find_column(table, spec["precision_into"], f"{where}.precision_into")
        if column.type != "date" or not {"day", "month", "year"} <= set(into.words):
            raise _Fault(f"{where}.precision_into", "leads from a date to a column with the words day, month, year")
    if spec.get("match") and (name != "unit_id" or not set(spec["match"]) <= set(MATCHES)):
        raise _Fault(f"{where}.match", f"is for unit_id and takes {', '.join(MATCHES)}")
    own = _check_formats(spec["formats"], f"{where}.formats") if "formats" in spec else formats
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
    )


def _find_column(table: Table, name: str, where: str) -> Column:
    if name not in table.column_names:
        raise _Fault(where, f"{name!r} is no such column; the table {table.name} has {', '.join(table.column_names)}")
    return table.column(name)


def _check_unit(column: Column, unit: str | None, where: str) -> None:
    if unit is None or (column.unit is not None and unit in contract.conversions(column.unit)):
        return
    known = ", ".join(contract.conversions(column.unit)) if column.unit else "none: it has no unit"
    raise _Fault(where, f"{unit!r} can't be converted; possible are {known}")


def _parse_words(column: Column, words: dict, where: str) -> dict[str, str]:
    """Words of the source, trimmed and lower case, to the contract's words; a boolean may be written true or "true"."""
    allowed = ("true", "false") if column.type == "boolean" else column.words
    found: dict[str, str] = {}
    for word, target in words.items():
        target = str(target).lower() if isinstance(target, bool) else target
        slug = _fold(word)
        if not isinstance(target, str) or (allowed and target not in allowed):
            raise _Fault(f"{where}.{word}", f"{target!r} is not in the vocabulary {', '.join(allowed) or 'of texts'}")
        if found.get(slug, target) != target:
            raise _Fault(f"{where}.{word}", "stands there twice (case doesn't count) with different meanings")
        found[slug] = target
    return found


def _parse_wide(table: Table, spec: dict, where: str) -> Wide:
    _check_kinds(spec, WIDE_KEYS, where, ("into", "columns", "cells"))
    into = _find_column(table, spec["into"], f"{where}into")
    headers = {}
    for header, value in spec["columns"].items():
        headers[header] = _check_value(into, value, f"{where}columns.{header}")
    cells = {}
    for word, given in spec["cells"].items():
        if not isinstance(given, dict) or not given:
            raise _Fault(f"{where}cells.{word}", "must be a table of columns and their values")
        cells[_fold(word)] = {
            name: _check_value(_find_column(table, name, f"{where}cells.{word}"), value, f"{where}cells.{word}.{name}")
            for name, value in given.items()
        }
    named = next((c.name for c in table.columns if c.type == "word" and any(c.name in given for given in cells.values())), None)
    if named is None:
        raise _Fault(f"{where}cells", "must give at least one column that has a vocabulary, such as defect")
    none_words = tuple(map(_fold, spec.get("none_words", ())))
    return Wide(into.name, headers, none_words, cells, named)


def _check_value(column: Column, value: object, where: str) -> str:
    """A value written into the dialect itself: text, a number or true and false, in the vocabulary if there is one."""
    if isinstance(value, bool):
        value = str(value).lower()
    elif isinstance(value, int | float):
        value = str(value)
    if not isinstance(value, str) or (column.words and value not in column.words):
        raise _Fault(where, f"{value!r} is not in the vocabulary {', '.join(column.words) or 'of texts'}")
    return value


@cache
def canonical_dialect(table_name: str, delimiter: str = ",") -> Dialect:
    """The dialect of a file named after a canonical table: the contract's own names, ISO dates, UTF-8, commas (tabs in a .tsv)."""
    table = contract.tables()[table_name]
    columns = {column.name: {"from": column.name, "optional": not column.required} for column in table.columns}
    return parse_dialect(
        {
            "name": f"canonical-{table_name}",
            "files": [f"*{table_name}.csv", f"*{table_name}.tsv"],
            "delimiter": delimiter,
            "table": [{"name": table_name, "columns": columns}],
        }
    )
