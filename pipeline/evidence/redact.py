"""Names of persons withheld. In: the headers of the columns that hold them. Out: copies of the files with these cells blanked.

Lines keep their numbers and all other cells. Who asked for a correction is withheld as well. In records that are no rows, and in what
corrections say, the names are searched that stand under those headers in the same file; the caller tells the user of them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from itertools import islice

from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect
from pipeline.intake.lines import read_lines
from pipeline.intake.reader import read_records
from pipeline.intake.sheet import read_sheet_form
from pipeline.intake.store import ReceivedFile

WITHHELD = "withheld"
CORRECTED = {f"intake.correction.{name}" for name in ("who", "why", "from_value", "to_value")}


class Redaction:
    """Headers to withhold, called with each file and its bytes; without headers everything stays as received."""

    def __init__(self, headers: tuple[str, ...]) -> None:
        self.headers = headers
        self.dialects: Mapping[str, Dialect] = {}
        self.count = self.asked = 0
        self.searched: list[str] = []
        self._seen: set[str] = set()
        self._names: dict[str, set[str]] = {}

    def __call__(self, file: ReceivedFile, data: bytes) -> bytes:
        """The copy to enclose. Lists of corrections have to come after the files that they speak of."""
        if not self.headers:
            return data
        if file.is_corrections:
            return self._redact_corrections(data)
        dialect = self.dialects.get(file.file_id)
        if dialect is None:
            raise UserError(
                "not-redactable",
                headers=", ".join(self.headers),
                why=f"{file.path} is withdrawn, so nothing tells how it is read",
            )
        return self._redact_export(file, data, dialect)

    def check_used(self) -> None:
        """Raises UserError no-such-header where no enclosed file has a column of that name."""
        for header in self.headers:
            if header not in self._seen:
                raise UserError("no-such-header", header=header)

    @property
    def blind(self) -> frozenset[str]:
        """Columns that a withheld header feeds, or that repeat what stands under it: there the pack differs from the store."""
        if not self.headers:
            return frozenset()
        fed = {
            name
            for dialect in self.dialects.values()
            for feed in dialect.feeds
            for name, source in feed.columns.items()
            if source.header in self.headers
        }
        return frozenset(fed | {f"intake.quarantine.{name}" for name in ("raw", "value", "reason")} | CORRECTED)

    def _redact_export(self, file: ReceivedFile, data: bytes, dialect: Dialect) -> bytes:
        form = read_sheet_form(data, dialect) or dialect
        records = read_records(data, dialect, file.path)
        at = [number for number, header in enumerate(records.headers) if header in self.headers]
        self._seen |= {records.headers[number] for number in at}
        rows = list(records.rows)
        if not at:
            return data
        lines = list(read_lines(data, form.encoding))
        names = {cells[number] for _, _, cells in rows for number in at if cells[number].strip()}
        self._names.setdefault(file.path, set()).update(names)
        told: set[int] = set()
        for _, line_no, _ in rows:
            told.update(range(line_no - 1, line_no - 1 + self._blank_record(lines, line_no - 1, at, form.delimiter)))
        # lines above the header, at the foot, and records that are no rows
        for number in [number for number, line in enumerate(lines) if number not in told and line.strip()]:
            if not set(self.headers) & set(lines[number].strip().replace('"', "").split(form.delimiter)):
                lines[number] = replace_names(lines[number], names)
                self.searched.append(f"{file.path} line {number + 1}")
        return encode_as(data, "".join(lines), form.encoding)

    def _blank_record(self, lines: list[str], start: int, at: list[int], delimiter: str) -> int:
        """Write one record anew, in as many lines as it had; gives how many."""
        reader = csv.reader(islice(lines, start, None), delimiter=delimiter, strict=True)
        cells = next(reader)
        told = [number for number in at if cells[number].strip()]
        if not told:
            return reader.line_num
        end = lines[start + reader.line_num - 1]
        for number in told:
            cells[number] = WITHHELD + "\n" * cells[number].count("\n")
        self.count += len(told)
        out = io.StringIO(newline="")
        csv.writer(out, delimiter=delimiter, lineterminator=end[len(end.rstrip("\r\n")) :]).writerow(cells)
        lines[start : start + reader.line_num] = io.StringIO(out.getvalue(), newline="")
        return reader.line_num

    def _redact_corrections(self, data: bytes) -> bytes:
        """Who asked is withheld, and every name seen in the exports."""
        rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
        names = set().union(*self._names.values()) if self._names else set()
        out = io.StringIO(newline="")
        writer = csv.writer(out, lineterminator="\n")
        who = rows[0].index("who") if rows and "who" in rows[0] else -1
        names |= {row[who] for row in rows[1:] if who >= 0 and len(row) > who and row[who].strip()}
        for number, row in enumerate(rows):
            if number:
                row = [WITHHELD if place == who else replace_names(cell, names) for place, cell in enumerate(row)]
                self.asked += 1
            writer.writerow(row)
        return out.getvalue().encode()


def replace_names(text: str, names: set[str]) -> str:
    """The text without these names, longest first."""
    for name in sorted(names, key=len, reverse=True):
        text = text.replace(name, WITHHELD)
    return text


def encode_as(data: bytes, text: str, encoding: str) -> bytes:
    """The text in its encoding, with the byte order mark that the file had."""
    mark = next((mark for mark in (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff") if data.startswith(mark)), b"")
    plain = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}.get(mark, encoding.removesuffix("-sig"))
    return mark + text.removeprefix("\ufeff").encode(plain)
