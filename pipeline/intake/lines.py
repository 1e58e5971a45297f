"""Bytes to physical lines: strict decoding, bounded memory.

In: the bytes of one file and its dialect. Out: lines with their ends, one by one; those that can be read again.
"""

from __future__ import annotations

import codecs
import io
import itertools
import re
from collections import deque
from collections.abc import Iterator

from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect

# A line or record beyond this is no record of an inspection but a quote gone astray; it is put aside as broken.
LONGEST_RECORD = 1_000_000
# What may be read a second time after broken quotes. Only a file made to be slow needs more, and it is refused.
MOST_REREAD = 200 * LONGEST_RECORD
PIECE = 1 << 20
# UTF-7 and escapes can spell one half of a surrogate pair, which is no text and can't be kept as such.
HALF_CHARACTER = re.compile("[\ud800-\udfff]")


class Overlong(str):
    """A line of more than LONGEST_RECORD characters, cut."""


class TooMuchReread(Exception):
    """Reading again after broken quotes would take for ever."""


def check_text(data: bytes, dialect: Dialect, path: str) -> None:
    """Decode all of it strictly, in pieces. Raises UserError no-data-in-file, not-csv, wrong-encoding, garbled-encoding."""
    if not data or data.isspace():
        raise UserError("no-data-in-file", path=path)
    decoder = codecs.getincrementaldecoder(dialect.encoding)("strict")
    for start in range(0, len(data), PIECE):
        kept = len(decoder.getstate()[0])
        try:
            text = decoder.decode(data[start : start + PIECE], final=start + PIECE >= len(data))
        except UnicodeError as error:
            why = _foreign(data)
            if why:
                raise UserError("not-csv", path=path, why=why) from error
            offset = start - kept + getattr(error, "start", 0)
            raise UserError(
                "wrong-encoding", path=path, offset=offset, encoding=dialect.encoding, dialect=dialect.name
            ) from error
        if not text.isascii() and HALF_CHARACTER.search(text):
            raise UserError("not-csv", path=path, why=f"read as {dialect.encoding}, it holds halves of characters")
        if "\0" in text:
            raise UserError("not-csv", path=path, why=_foreign(data) or "it holds binary data")
    if would_garble(data, dialect.encoding):
        raise UserError("garbled-encoding", path=path, encoding=dialect.encoding, dialect=dialect.name)


def _foreign(data: bytes) -> str:
    """What a file is that holds zero bytes; nothing for plain text in some other encoding."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "it is UTF-16 text: set encoding = 'utf-16' in its dialect"
    return "it holds binary data" if b"\0" in data[:4096] else ""


def would_garble(data: bytes, encoding: str) -> bool:
    """Whether an encoding of one byte a character is said of what is UTF-8: any such text would come out garbled.

    Bytes of more than one-byte text make valid UTF-8 by chance about as often as a sentence makes another language.
    """
    if len(b"\xc3\xbc".decode(encoding, "replace")) != 2 or data.isascii():
        return False
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    try:
        for start in range(0, len(data), PIECE):
            decoder.decode(data[start : start + PIECE], final=start + PIECE >= len(data))
    except UnicodeDecodeError:
        return False
    return True


def read_lines(data: bytes, encoding: str) -> Iterator[str]:
    """Physical lines, ends kept: only CR, LF and CR LF end a line; a byte order mark is dropped."""
    stream = io.TextIOWrapper(io.BytesIO(data), encoding=encoding, newline="")
    is_first = True
    while line := stream.readline(LONGEST_RECORD + 1):
        if len(line) > LONGEST_RECORD:
            _pass_rest(stream, line)
            line = Overlong(line)
        yield line.removeprefix("\ufeff") if is_first else line
        is_first = False


def _pass_rest(stream: io.TextIOWrapper, piece: str) -> None:
    """Read on to the end of a line that was cut."""
    while piece and not piece.endswith(("\n", "\r")):
        piece = stream.readline(LONGEST_RECORD + 1)


def drop_foot(lines: Iterator[str], count: int, foot: list[tuple[int, str]]) -> Iterator[str]:
    """Leave out the last `count` lines that say something, and the blank ones among and after them.

    What is left out ends in `foot` as (line_no, line). Held back are (line, times), so that a file of millions of blank
    lines stays small.
    """
    held: deque[tuple[str, int]] = deque()
    full = passed = 0
    for line in lines:
        if held and held[-1][0] == line and not line.strip():
            held.append((line, held.pop()[1] + 1))
        else:
            held.append((line, 1))
            full += bool(line.strip())
        while full > count:
            text, times = held.popleft()
            full -= bool(text.strip())
            passed += times
            yield from itertools.repeat(text, times)
    for text, times in held:
        if text.strip():
            foot.append((passed + 1, text))
        passed += times


class LineSource:
    """Lines for a CSV reader, the last record's kept so that they can be read again. `number` is that of the last line."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines, self._again = lines, deque[str]()
        self.taken: list[str] = []
        self.number = self._reread = self._taken_chars = 0

    def __iter__(self) -> LineSource:
        return self

    def __next__(self) -> str:
        line = self._again.popleft() if self._again else next(self._lines)
        self.taken.append(line)
        self.number += 1
        self._taken_chars += len(line)
        if self._taken_chars > LONGEST_RECORD:
            raise OverflowError
        return line

    def begin(self) -> None:
        """A new record begins with the next line."""
        self.taken, self._taken_chars = [], 0

    def give_back(self) -> None:
        """Read all but the record's first line again. Raises TooMuchReread."""
        again = self.taken[1:]
        self._reread += sum(map(len, again))
        if self._reread > MOST_REREAD:
            raise TooMuchReread
        self._again.extendleft(reversed(again))
        self.number -= len(again)
        self.taken = self.taken[:1]
