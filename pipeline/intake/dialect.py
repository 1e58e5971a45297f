"""Dialects: how one source writes its files. In: a dialect TOML. Out: a checked, frozen `Dialect`.

Every key is checked here, so that a slip of the pen is one sentence naming file and key, never a silent loss.
"""

from __future__ import annotations

import codecs
import hashlib
import json
import tomllib
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

from pipeline import contract
from pipeline.errors import UserError

TOP_KEYS = {
    "name", "about", "files", "encoding", "delimiter", "decimal_mark", "thousands_mark", "date_formats",
    "null_words", "skip_head", "skip_foot", "ignore_columns", "table",
}  # fmt: skip
COLUMN_KEYS = {"from", "words", "formats", "unit", "constant", "prefix", "precision_into", "optional"}
TABLE_KEYS = {"name", "when", "columns", "wide"}
WIDE_KEYS = {"into", "columns", "none_words", "cells"}


@dataclass(frozen=True)
class Source:
    """Where one canonical column comes from: a header or a constant, and how its cells read."""

    header: str | None = None
    constant: str | None = None
    words: dict[str, str] = field(default_factory=dict)
    formats: tuple[str, ...] = ()
    unit: str | None = None
    prefix: str = ""
    precision_into: str | None = None
    is_optional: bool = False


@dataclass(frozen=True)
class Wide:
    """A check list with a column per value of `into`; each cell that says something makes a row."""

    into: str
    headers: dict[str, str]
    none_words: tuple[str, ...]
    cells: dict[str, dict[str, str]]


@dataclass(frozen=True)
class Feed:
    """One canonical table that the records of a file feed."""

    table: str
    columns: dict[str, Source]
    when: tuple[str, tuple[str, ...]] | None = None
    wide: Wide | None = None


@dataclass(frozen=True)
class Dialect:
    """How one source writes. `digest` changes whenever its meaning does."""

    name: str
    files: tuple[str, ...]
    feeds: tuple[Feed, ...]
    digest: str
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal_mark: str = "."
    thousands_mark: str = ""
    null_words: tuple[str, ...] = ()
    skip_head: int = 0
    skip_foot: int = 0
    ignore_columns: tuple[str, ...] = ()

    def reads(self, inner_path: str) -> bool:
        """Whether one of the `files` globs matches the path within its folder."""
        return any(fnmatchcase(inner_path, pattern) for pattern in self.files)

    def wanted_headers(self) -> dict[str, bool]:
        """Every header the dialect names -> whether a file must have it."""
        wanted: dict[str, bool] = {}
        for feed in self.feeds:
            for source in feed.columns.values():
                if source.header is not None:
                    wanted[source.header] = wanted.get(source.header, False) or not source.is_optional
            if feed.when:
                wanted[feed.when[0]] = True
            for header in feed.wide.headers if feed.wide else ():
                wanted[header] = True
        return wanted


class _Fault(Exception):
    """A fault in a dialect, before the file name is known."""

    def __init__(self, key: str, why: str) -> None:
        super().__init__(why)
        self.key, self.why = key, why


def read_dialect(path: Path) -> Dialect:
    """Read and check one dialect. Raises UserError bad-dialect naming file and key."""
    try:
        return parse_dialect(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError) as error:
        raise UserError("bad-dialect", file=path, key="(whole file)", why=f"is not TOML: {error}") from error
    except _Fault as fault:
        raise UserError("bad-dialect", file=path, key=fault.key, why=fault.why) from fault


def parse_dialect(spec: dict) -> Dialect:
    """Check a parsed dialect and freeze it."""
    _refuse_unknown(spec, TOP_KEYS, "")
    for key in ("name", "files", "table"):
        if not spec.get(key):
            raise _Fault(key, "is missing")
    _check_encoding(spec.get("encoding", "utf-8"))
    _check_marks(spec)
    formats = tuple(spec.get("date_formats", ["%Y-%m-%d"]))
    return Dialect(
        name=spec["name"],
        files=tuple(spec["files"]),
        feeds=tuple(_parse_feed(entry, formats, number) for number, entry in enumerate(spec["table"])),
        digest=hashlib.sha256(json.dumps(spec, sort_keys=True, default=str).encode()).hexdigest()[:16],
        encoding=spec.get("encoding", "utf-8"),
        delimiter=spec.get("delimiter", ","),
        decimal_mark=spec.get("decimal_mark", "."),
        thousands_mark=spec.get("thousands_mark", ""),
        null_words=tuple(spec.get("null_words", ())),
        skip_head=_whole_number(spec, "skip_head"),
        skip_foot=_whole_number(spec, "skip_foot"),
        ignore_columns=tuple(spec.get("ignore_columns", ())),
    )


def _refuse_unknown(spec: dict, known: set[str], where: str) -> None:
    for key in spec:
        if key not in known:
            raise _Fault(f"{where}{key}", f"is not known; known are {', '.join(sorted(known))}")


def _whole_number(spec: dict, key: str) -> int:
    value = spec.get(key, 0)
    if not isinstance(value, int) or value < 0:
        raise _Fault(key, f"{value!r} is not a number of lines")
    return value


def _check_encoding(encoding: str) -> None:
    try:
        codecs.lookup(encoding)
    except (LookupError, TypeError) as error:
        raise _Fault("encoding", f"{encoding!r} is no encoding that Python knows") from error


def _check_marks(spec: dict) -> None:
    if len(spec.get("delimiter", ",")) != 1:
        raise _Fault("delimiter", "must be one character")
    if spec.get("decimal_mark", ".") not in (".", ","):
        raise _Fault("decimal_mark", "must be a point or a comma")
    if spec.get("thousands_mark", "") == spec.get("decimal_mark", "."):
        raise _Fault("thousands_mark", "must differ from decimal_mark")


def _parse_feed(entry: dict, formats: tuple[str, ...], number: int) -> Feed:
    where = f"table[{number}]."
    _refuse_unknown(entry, TABLE_KEYS, where)
    if entry.get("name") not in contract.tables():
        raise _Fault(f"{where}name", f"{entry.get('name')!r} is no table; tables are {', '.join(contract.tables())}")
    table = contract.tables()[entry["name"]]
    columns = {
        name: _parse_source(table, name, value, formats, f"{where}columns.{name}")
        for name, value in entry.get("columns", {}).items()
    }
    when = entry.get("when")
    if when is not None:
        _refuse_unknown(when, {"column", "is"}, f"{where}when.")
        when = (when["column"], tuple(word.strip().lower() for word in when["is"]))
    wide = _parse_wide(table, entry["wide"], f"{where}wide.") if "wide" in entry else None
    return Feed(table.name, columns, when, wide)


def _parse_source(table, name: str, value, formats: tuple[str, ...], where: str) -> Source:
    if name not in table.column_names:
        raise _Fault(where, f"the table {table.name} has no such column; it has {', '.join(table.column_names)}")
    column = table.column(name)
    spec = {"from": value} if isinstance(value, str) else value
    _refuse_unknown(spec, COLUMN_KEYS, f"{where}.")
    if ("from" in spec) == ("constant" in spec):
        raise _Fault(where, "needs either `from` (a header) or `constant`")
    unit = spec.get("unit")
    if unit is not None and (column.unit is None or unit not in contract.conversions(column.unit)):
        known = ", ".join(contract.conversions(column.unit)) if column.unit else "none: it has no unit"
        raise _Fault(f"{where}.unit", f"{unit!r} can't be converted; possible are {known}")
    words = {word.strip().lower(): target for word, target in spec.get("words", {}).items()}
    for word, target in words.items():
        if column.words and target not in column.words:
            raise _Fault(f"{where}.words.{word}", f"{target!r} is not in the vocabulary {', '.join(column.words)}")
    return Source(
        header=spec.get("from"),
        constant=spec.get("constant"),
        words=words,
        formats=tuple(spec.get("formats", formats)) if column.type == "date" else (),
        unit=unit,
        prefix=spec.get("prefix", ""),
        precision_into=spec.get("precision_into"),
        is_optional=spec.get("optional", False),
    )


def _parse_wide(table, spec: dict, where: str) -> Wide:
    _refuse_unknown(spec, WIDE_KEYS, where)
    into = spec.get("into")
    if into not in table.column_names:
        raise _Fault(f"{where}into", f"{into!r} is no column of {table.name}")
    allowed = table.column(into).words
    for header, value in spec["columns"].items():
        if allowed and value not in allowed:
            raise _Fault(f"{where}columns.{header}", f"{value!r} is not in the vocabulary {', '.join(allowed)}")
    cells = {}
    for word, given in spec.get("cells", {}).items():
        for name, value in given.items():
            if name not in table.column_names:
                raise _Fault(f"{where}cells.{word}.{name}", f"is no column of {table.name}")
            words = table.column(name).words
            if words and value not in words:
                raise _Fault(f"{where}cells.{word}.{name}", f"{value!r} is not in the vocabulary {', '.join(words)}")
        cells[word.strip().lower()] = dict(given)
    none_words = tuple(word.strip().lower() for word in spec.get("none_words", ()))
    return Wide(into, dict(spec["columns"]), none_words, cells)


def canonical_dialect(table_name: str) -> Dialect:
    """The dialect of a file named after a canonical table: the contract's own names, ISO dates, UTF-8, commas."""
    table = contract.tables()[table_name]
    return parse_dialect(
        {
            "name": f"canonical-{table_name}",
            "files": [f"*{table_name}.csv"],
            "table": [
                {
                    "name": table_name,
                    "columns": {column.name: {"from": column.name, "optional": not column.required} for column in table.columns},
                }
            ],
        }
    )
