"""Exports as a source writes them, written by hand and not by anything the reader uses.

In: a `Source` – a dialect as plain values, a style of writing, headers, records of cells with the canonical rows they stand
for. Out: the dialect's TOML, and files as bytes. Noise between the records (blank lines, header rows again, totals, lines
before and after) is counted, so that the test can say how many records a file must be read to have skipped.
"""

from __future__ import annotations

import gzip
import io
import re
import zipfile
from dataclasses import dataclass, field

from tests.property.canonical import Row
from tests.property.choosers import Chooser

BARE_KEY = re.compile(r"[A-Za-z0-9_]+")
LINE_END = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True)
class Record:
    """One record of an export and the canonical rows it stands for, as (table, row)."""

    cells: tuple[str, ...]
    rows: tuple[tuple[str, Row], ...]


@dataclass(frozen=True)
class Style:
    """How a source writes, beside what its dialect says: `quoting` is minimal, all or some."""

    encoding: str
    delimiter: str
    line_end: str
    quoting: str
    has_mark: bool
    ends_with_newline: bool
    head: tuple[str, ...] = ()
    foot: tuple[str, ...] = ()


@dataclass
class Source:
    """One dialect with all its records. `totals` are cells of rows that sum up, one a column."""

    name: str
    spec: dict
    style: Style
    headers: list[str]
    records: list[Record]
    written_headers: list[str] = field(default_factory=list)
    totals: list[tuple[str, ...]] = field(default_factory=list)
    has_noise: bool = True


@dataclass(frozen=True)
class Written:
    """A file as bytes, with what a reader must have skipped and the rows it must find."""

    data: bytes
    lines_skipped: int
    rows: int


def write_toml(spec: dict) -> bytes:
    """A dialect as TOML: plain keys first, then the tables of `table`; inner tables are written inline."""
    lines = [f"{_key(key)} = {_value(value)}" for key, value in spec.items() if key != "table"]
    for feed in spec["table"]:
        lines.append("\n[[table]]")
        lines += [f"{_key(key)} = {_value(value)}" for key, value in feed.items()]
    return ("\n".join(lines) + "\n").encode("utf-8")


def _key(key: str) -> str:
    return key if BARE_KEY.fullmatch(key) else _text(key)


def _text(text: str) -> str:
    escaped = "".join(
        f"\\{c}" if c in '"\\' else f"\\u{ord(c):04X}" if ord(c) < 32 or 0x7F <= ord(c) < 0xA1 or c in "\ufeff\u2028" else c
        for c in text
    )
    return f'"{escaped}"'


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return str(value)


def join_cells(cells: tuple[str, ...] | list[str], style: Style, chooser: Chooser) -> str:
    """One record without its line end. Cells that need quotes have them, others as the style says."""
    shown = []
    for cell in cells:
        must = any(mark in cell for mark in (style.delimiter, '"', "\r", "\n")) or (len(cells) == 1 and not cell)
        wants = style.quoting == "all" or (style.quoting == "some" and chooser.has_chance(30))
        shown.append('"' + cell.replace('"', '""') + '"' if must or wants else cell)
    return style.delimiter.join(shown)


def looks_like_open_quote(cells: tuple[str, ...], delimiter: str) -> bool:
    """Whether a whole line of the file's width stands inside the record: DEVELOPERS.md, decision 13, takes it for a lost quote."""
    middle = LINE_END.split(delimiter.join(cells))[1:-1]
    return len(cells) > 2 and any(line.count(delimiter) >= len(cells) - 1 for line in middle)


def write_file(source: Source, records: list[Record], chooser: Chooser) -> Written:
    """The records in the given order as one file of the source, with noise between them."""
    style = source.style
    lines = list(style.head)
    skipped = sum(bool(line.strip()) for line in style.head) + len(style.foot)
    header = join_cells(source.written_headers or source.headers, style, chooser)
    lines.append(header)
    for record in records:
        lines.append(join_cells(record.cells, style, chooser))
        if source.has_noise:
            noise, counted = _make_noise(source, header, chooser)
            lines += noise
            skipped += counted
    lines += style.foot
    text = style.line_end.join(lines)
    if style.ends_with_newline:
        text += style.line_end
    return Written(encode_text(text, style), skipped, sum(len(record.rows) for record in records))


def _make_noise(source: Source, header: str, chooser: Chooser) -> tuple[list[str], int]:
    """Lines that are no rows, and how many of them count as skipped records."""
    kind = chooser.pick_number(0, 19)
    if kind == 17:
        return [""], 0
    if kind == 18 and source.spec.get("repeated_header"):
        return [header], 1
    if kind == 19 and source.totals:
        return [join_cells(chooser.pick_one(source.totals), source.style, chooser)], 1
    if kind == 16:
        return [join_cells([""] * len(source.headers), source.style, chooser)], 0
    return [], 0


def encode_text(text: str, style: Style) -> bytes:
    data = text.encode(style.encoding)
    assert data.decode(style.encoding) == text, "the generator gives only what the encoding holds"
    if style.has_mark and style.encoding in ("utf-8", "utf-16-le", "utf-16-be"):
        data = "\ufeff".encode(style.encoding) + data
    return data


def pack(name: str, data: bytes, kind: str) -> tuple[str, bytes, str]:
    """(name on the disk, bytes, path within the folder that the run gives it), packed as `kind`: plain, gz or zip."""
    if kind == "gz":
        return f"{name}.gz", gzip.compress(data, mtime=0), f"{name}.gz"
    if kind == "zip":
        stream = io.BytesIO()
        archive, inner = name.rsplit(".", 1)[0] + ".zip", name.rsplit("/", 1)[-1]
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
            packed.writestr(f"in/{inner}", data)
        return archive, stream.getvalue(), f"{archive}/in/{inner}"
    return name, data, name
