"""received.csv of a folder of exports: when each file came. In: its path. Out: inner path -> UTC time."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path

from pipeline.errors import UserError


def read_received(path: Path) -> dict[str, str]:
    """Map each path of received.csv to its time of receipt, ISO 8601 in UTC; empty if there is no such file.

    A lone date means its last second, so that a record of that same day may be in the file.
    Raises UserError bad-received.
    """
    if not path.exists():
        return {}
    found: dict[str, str] = {}
    try:
        with open(path, encoding="utf-8-sig", newline="") as stream:
            for number, record in enumerate(csv.DictReader(stream), start=1):
                name, value = record.get("path"), record.get("received_at")
                if not name or not value:
                    raise UserError("bad-received", file=path, record_no=number, why="path or received_at is missing")
                if name in found:
                    raise UserError("bad-received", file=path, record_no=number, why=f"{name} stands there twice")
                found[name] = _read_time(value, path, number)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UserError("bad-received", file=path, record_no=1, why=f"can't be read: {error}") from error
    return found


def _read_time(value: str, path: Path, number: int) -> str:
    try:
        moment = datetime.fromisoformat(value.strip())
    except ValueError as error:
        raise UserError("bad-received", file=path, record_no=number, why=f"received_at {value!r} is no date") from error
    if len(value.strip()) == 10:
        moment = moment.replace(hour=23, minute=59, second=59)
    moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")
