"""Damaged copies of exports, with the knowledge of which lines came through whole.

In: the bytes of an export and a random generator. Out: a `Damaged`: the new bytes, what was done, and for each of its physical
lines the line of the original that it is, byte for byte and end included, or None. The splitting into lines here is on bytes
and our own: it must not be the reader's.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline.intake.dialect import Dialect
from pipeline.intake.read_dialect import canonical_dialect, read_dialect

LINE = re.compile(rb"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
NEW = -1
# One damaged byte: where it came from in the original, or NEW; and its value.
Buffer = list[tuple[int, int]]


@dataclass(frozen=True)
class Export:
    """An undamaged file, cut to its first lines, and how it is read. `inner` is its path in the folder."""

    inner: str
    data: bytes
    dialect: Dialect


@dataclass(frozen=True)
class Damaged:
    """`lines` are the physical lines; `origin` the number of the original line that each is, or None."""

    export: Export
    done: tuple[str, ...]
    data: bytes
    lines: tuple[bytes, ...]
    origin: tuple[int | None, ...]


def split_lines(data: bytes) -> list[bytes]:
    return LINE.findall(data)


def read_exports(folder: Path, most_lines: int | None) -> list[Export]:
    """Every export of the sample folder with its dialect, cut after `most_lines` (its foot kept)."""
    dialects = [read_dialect(path.read_bytes(), path.name) for path in sorted((folder / "dialects").glob("*.toml"))]
    found = []
    for path in sorted(folder.glob("*/**/*.csv")):
        inner = path.relative_to(folder).as_posix()
        dialect = next((item for item in dialects if item.reads(inner)), None) or canonical_dialect(path.stem)
        lines = split_lines(path.read_bytes())
        if most_lines and len(lines) > most_lines:
            foot = dialect.skip_foot
            lines = lines[: most_lines - foot] + (lines[-foot:] if foot else [])
        found.append(Export(inner, b"".join(lines), dialect))
    return found


def cut(rng: random.Random, buffer: Buffer, longest: int = 80) -> tuple[int, int]:
    """A random range of bytes."""
    start = rng.randrange(len(buffer))
    return start, min(len(buffer), start + rng.randint(1, longest))


def put_in(rng: random.Random, buffer: Buffer, data: bytes) -> Buffer:
    place = rng.randint(0, len(buffer))
    return buffer[:place] + [(NEW, byte) for byte in data] + buffer[place:]


def line_ranges(buffer: Buffer) -> list[tuple[int, int]]:
    return [found.span() for found in LINE.finditer(bytes(byte for _, byte in buffer))]


def flip_bit(rng, buffer, exports):
    place = rng.randrange(len(buffer))
    return buffer[:place] + [(NEW, buffer[place][1] ^ (1 << rng.randrange(8)))] + buffer[place + 1 :]


def replace_byte(rng, buffer, exports):
    place = rng.randrange(len(buffer))
    return buffer[:place] + [(NEW, rng.randrange(256))] + buffer[place + 1 :]


def delete_range(rng, buffer, exports):
    start, end = cut(rng, buffer)
    return buffer[:start] + buffer[end:]


def insert_bytes(rng, buffer, exports):
    return put_in(rng, buffer, rng.randbytes(rng.randint(1, 20)))


def insert_text(rng, buffer, exports):
    return put_in(rng, buffer, bytes(rng.choices(b'abcZ019 .,;\t"-', k=rng.randint(1, 30))))


def duplicate_range(rng, buffer, exports):
    start, end = cut(rng, buffer, 400)
    return buffer[:end] + buffer[start:end] + buffer[end:]


def swap_ranges(rng, buffer, exports):
    (a, b), (c, d) = sorted((cut(rng, buffer), cut(rng, buffer)))
    return buffer[:a] + buffer[c:d] + buffer[b:c] + buffer[a:b] + buffer[d:] if b <= c else buffer[:a] + buffer[b:]


def truncate(rng, buffer, exports):
    return buffer[: rng.randrange(1, len(buffer) + 1)]


def behead(rng, buffer, exports):
    return buffer[rng.randrange(len(buffer)) :]


def add_nul(rng, buffer, exports):
    return put_in(rng, buffer, b"\0" * rng.randint(1, 3))


def add_quote(rng, buffer, exports):
    return put_in(rng, buffer, b'"' * rng.randint(1, 3))


def quote_after_delimiter(rng, buffer, exports):
    """A quotation mark where it opens a field."""
    places = [n for n, (_, byte) in enumerate(buffer) if byte in b",;\t\n"]
    place = rng.choice(places) + 1
    return buffer[:place] + [(NEW, 34)] + buffer[place:]


def quote_a_column_over_lines(rng, buffer, exports):
    """A quotation mark opens a field and one closes the same field some lines on: what is between would fit as one cell."""
    ranges = line_ranges(buffer)
    data = bytes(byte for _, byte in buffer)
    mark = max(b",;\t", key=data.count)
    first = rng.randrange(len(ranges) - 1)
    last = min(len(ranges) - 1, first + rng.randint(1, 6))
    opens, closes = ([n for n in range(*ranges[line]) if data[n] == mark] for line in (first, last))
    if len(opens) < 2 or len(opens) != len(closes):
        return buffer
    column = rng.randrange(len(opens) - 1)
    begin, end = opens[column] + 1, closes[column + 1]
    return buffer[:begin] + [(NEW, 34)] + buffer[begin:end] + [(NEW, 34)] + buffer[end:]


def add_delimiter(rng, buffer, exports):
    return put_in(rng, buffer, rng.choice([b",", b";", b"\t", b",,,", b";;"]))


def add_line_end(rng, buffer, exports):
    return put_in(rng, buffer, rng.choice([b"\r", b"\n", b"\r\n", b"\n\n", b"\r\r", b"\n\r", b"\x0b", b"\x0c", b"\x1c", b"\x85"]))


def drop_line_end(rng, buffer, exports):
    place = rng.choice([n for n, (_, byte) in enumerate(buffer) if byte in b"\r\n"])
    return buffer[:place] + buffer[place + 1 :]


def add_mark(rng, buffer, exports):
    """A byte order mark, at the beginning or anywhere."""
    mark = rng.choice([b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"])
    return [(NEW, byte) for byte in mark] + buffer if rng.random() < 0.3 else put_in(rng, buffer, mark)


def add_not_utf8(rng, buffer, exports):
    return put_in(
        rng, buffer, rng.choice([b"\xff", b"\xfc", b"\xc3", b"\x81", b"\xed\xa0\x80", b"\xf5\x80\x80\x80", b"\xc0\xaf"])
    )


def swap_lines(rng, buffer, exports):
    ranges = line_ranges(buffer)
    one, other = rng.randrange(len(ranges)), rng.randrange(len(ranges))
    ranges[one], ranges[other] = ranges[other], ranges[one]
    return [item for start, end in ranges for item in buffer[start:end]]


def drop_lines(rng, buffer, exports):
    ranges = line_ranges(buffer)
    start = rng.randrange(len(ranges))
    end = start + rng.randint(1, 5)
    return [item for n, (a, b) in enumerate(ranges) if not start <= n < end for item in buffer[a:b]]


def cut_out_of_records(rng, buffer, exports):
    """From the middle of one record to the middle of a later one."""
    start, end = cut(rng, buffer, 600)
    return buffer[:start] + buffer[end:]


def add_other_file(rng, buffer, exports):
    """Another export stuck to the end, header and all."""
    return buffer + [(NEW, byte) for byte in rng.choice(exports).data]


KINDS: list[Callable] = [
    flip_bit, replace_byte, delete_range, insert_bytes, insert_text, duplicate_range, swap_ranges, truncate, behead, add_nul,
    add_quote, quote_after_delimiter, quote_a_column_over_lines, add_delimiter, add_line_end, drop_line_end, add_mark, add_not_utf8, swap_lines, drop_lines,
    cut_out_of_records, add_other_file,
]  # fmt: skip


def damage(export: Export, rng: random.Random, exports: list[Export], kinds: list[Callable]) -> Damaged:
    """The export after each of `kinds` was done to it, one after another."""
    buffer: Buffer = list(enumerate(export.data))
    for kind in kinds:
        if len(line_ranges(buffer)) > 1:
            buffer = kind(rng, buffer, exports)
    starts = {found.start(): number for number, found in enumerate(LINE.finditer(export.data))}
    originals = split_lines(export.data)
    data = bytes(byte for _, byte in buffer)
    lines, origin = [], []
    for start, end in line_ranges(buffer):
        lines.append(data[start:end])
        origin.append(_find_origin([place for place, _ in buffer[start:end]], starts, originals))
    return Damaged(export, tuple(kind.__name__ for kind in kinds), data, tuple(lines), tuple(origin))


def _find_origin(places: list[int], starts: dict[int, int], originals: list[bytes]) -> int | None:
    """The original line whose bytes these are, all of them and in their order."""
    number = starts.get(places[0])
    if number is None or len(originals[number]) != len(places):
        return None
    return number if places == list(range(places[0], places[0] + len(places))) else None
