"""When files came. In: received.csv of a folder of exports, or the clock of this run. Out: a `Receipt` a file."""

from __future__ import annotations

import csv
import io
import unicodedata
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from pipeline.errors import UserError
from pipeline.intake.plain_file import MOST_LIST_BYTES, read_plain_file

FIRST_YEAR = 1990


@dataclass(frozen=True)
class Receipt:
    """`received_at` in UTC, ISO 8601; `received_on` the calendar day where the sender is."""

    received_at: str
    received_on: str


def stamp_now(now: datetime) -> Receipt:
    """Received now. Somewhere on earth it is already the next day (UTC+14), so a record of that day is possible."""
    return Receipt(write_time(now), str((now.astimezone(UTC) + timedelta(hours=14)).date()))


def write_time(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def read_moment(text: str) -> datetime:
    """A day or a time as written. A lone day means its last second; without a zone it is UTC. Raises ValueError."""
    text = text.strip()
    try:
        moment = datetime.combine(date.fromisoformat(text), time(23, 59, 59))
    except ValueError:
        moment = datetime.fromisoformat(text)
    if not FIRST_YEAR <= moment.year <= 2200:
        raise ValueError(f"the year {moment.year} is out of the question")
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def read_received(path: Path) -> dict[str, Receipt]:
    """Map each path of received.csv to its receipt; empty if there is no such file. Raises UserError bad-received."""
    if not path.exists():
        return {}
    found: dict[str, Receipt] = {}
    try:
        stream = io.StringIO(read_plain_file(path, MOST_LIST_BYTES).decode("utf-8-sig"), newline="")
        for number, record in enumerate(csv.DictReader(stream), start=1):
            name = unicodedata.normalize("NFC", (record.get("path") or "").strip())
            value = record.get("received_at")
            if not name or not value:
                raise UserError("bad-received", file=path, record_no=number, why="path or received_at is missing")
            if name in found:
                raise UserError("bad-received", file=path, record_no=number, why=f"{name} stands there twice")
            found[name] = _read_receipt(value, path, number)
    except (UnicodeDecodeError, csv.Error) as error:
        raise UserError("bad-received", file=path, record_no=1, why=f"can't be read: {error}") from error
    return found


def _read_receipt(value: str, path: Path, number: int) -> Receipt:
    try:
        moment = read_moment(value)
    except ValueError as error:
        why = f"received_at {value!r} is no date: {error}"
        raise UserError("bad-received", file=path, record_no=number, why=why) from error
    if moment > datetime.now(UTC) + timedelta(days=1):
        why = f"received_at {value!r} is still to come"
        raise UserError("bad-received", file=path, record_no=number, why=why)
    return Receipt(write_time(moment), str(moment.date()))
