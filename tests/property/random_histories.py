"""Random histories of one folder of exports: files received step by step that go on, restate, leave out, repeat and mend.

In: a random generator and a store. Out: a `Maker` that has received the files and tells what the reference makes of them.
"""

from __future__ import annotations

import csv
import io
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pipeline.intake.receive import receive_exports
from pipeline.intake.sheet import ANSWER, PLACE, REASON, write_answer
from pipeline.intake.store import ReceivedFile, Store
from pipeline.withdraw import withdraw_file
from tests.property.canonical import complete_imo_number
from tests.property.dialect_writer import write_toml
from tests.property.overlap_reference import NO_DAY, WORDS, File, History, Line, Told

FIRST = datetime(2026, 3, 1, tzinfo=UTC)
HEADERS = ("Kind", "No", "IMO", "Day", "Word", "Note", "Gone")
COLUMNS = {
    "inspection": {"unit_id": "No", "imo_number": "IMO", "inspected_on": "Day", "outcome": "Word", "remarks": "Note"},
    "unit": {
        "unit_id": "No",
        "imo_number": "IMO",
        "in_service_on": "Day",
        "agent": "Word",
        "maker": "Note",
        "removed_on": "Gone",
    },
}
TABLES = {"log": ("inspection",), "list": ("unit",), "both": ("inspection", "unit")}
PATHS = (
    "log_1.csv",
    "log_1.csv",
    "log_2.csv",
    "list_1.csv",
    "list_1.csv",
    "list_2.csv",
    "both_1.csv",
    "both_1.csv",
    "both_2.csv",
)


class Maker:
    """One folder of exports, received step by step, and what was received."""

    def __init__(self, rng: random.Random, root: Path, number: int, dump: str | None) -> None:
        self.rng, self.tag, self.folder = rng, f"h{number}", root / f"h{number}"
        self.store = Store(root / "store")
        self.vessels = tuple(complete_imo_number(970001 + 3 * number + n) for n in range(2))
        self.units = tuple(f"{self.tag}U{n}" for n in range(3))
        self.dumps = (("unit", dump),) if dump else ()
        self.files: list[tuple[File, ReceivedFile]] = []
        self.now = FIRST
        register = [(unit, self.vessels[0], "2015-01-01") for unit in self.units]
        self._write("vessel.csv", [("imo_number",), *((vessel,) for vessel in self.vessels)])
        self._write("unit.csv", [("unit_id", "imo_number", "in_service_on"), *register])
        for dialect, tables in TABLES.items():
            target = self.folder / f"dialects/{dialect}.toml"
            target.parent.mkdir(exist_ok=True)
            target.write_bytes(write_toml(self._spec(dialect, tables)))
        self._receive()

    def _spec(self, dialect: str, tables: tuple[str, ...]) -> dict:
        feeds = []
        for table in tables:
            feed = {"name": table, "columns": COLUMNS[table]}
            if len(tables) > 1:
                feed["when"] = {"column": "Kind", "is": [table]}
            feeds.append(feed | (dict(full_dump=self.dumps[0][1]) if table == "unit" and self.dumps else {}))
        return {"name": dialect, "files": [f"{dialect}_*"], "ignore_columns": list(HEADERS), "table": feeds}

    def _write(self, path: str, rows: list[tuple[str, ...]]) -> None:
        stream = io.StringIO(newline="")
        csv.writer(stream, lineterminator="\n").writerows(rows)
        self.folder.mkdir(exist_ok=True)
        (self.folder / path).write_text(stream.getvalue(), encoding="utf-8")

    def _receive(self) -> list[ReceivedFile]:
        before = set(self.store.ledger())
        intake = receive_exports([self.folder], self.store, set(), self.now)
        intake.confirm(self.store)
        return [file for file in self.store.ledger() if file not in before]

    def draw_line(self, record_no: int, dialect: str) -> Line:
        pick = self.rng.choice
        if self.rng.random() < 0.06:
            return Line(record_no, None, text=f"odd,{pick('12')}" + ",x" * len(HEADERS))
        if dialect == "both" and self.rng.random() < 0.06:
            return Line(record_no, None, text=f"odd,{pick('12')},,,,,")
        table = pick(TABLES[dialect])
        units = self.units if table == "inspection" else tuple(f"{self.tag}L{n}" for n in range(3))
        gone = pick(["", "", "", "2026-02-01"]) if table == "unit" else ""
        return Line(
            record_no, table, pick([*units * 4, "", f"{self.tag}X"]), pick([*self.vessels * 6, "", "9999994"]),
            pick(["2026-01-05", "2026-01-06"] * 4 + [NO_DAY, ""]), pick([*WORDS[table] * 4, "strange"]),
            self.tag + pick("aaaaab"), gone,
        )  # fmt: skip

    def add(self, path: str, lines: list[Line], is_sheet: bool = False) -> None:
        """The file comes, at once or some days later; the same bytes again under its path are no new version."""
        dialect = path.removeprefix("quarantine-").removesuffix(".csv").split("_")[0]
        self.now += timedelta(days=self.rng.choice([0, 1, 3]))
        extra = (REASON, PLACE, ANSWER) if is_sheet else ()
        rows = [(*HEADERS, *extra)]
        for line in lines:
            answer = ("reason", "place", write_answer(*line.answers) if line.answers else "") if is_sheet else ()
            cells = tuple(line.text.split(",")) if line.table is None else (line.table, *line.content[1:])
            rows.append((*cells, *answer))
        self._write(path, rows)
        for received in self._receive():
            dumps = () if is_sheet else tuple(item for item in self.dumps if item[0] in TABLES[dialect])
            file = File(received.file_id, received.path, dialect, tuple(lines), dumps, is_sheet)
            self.files.append((file, received))

    def draw_step(self) -> None:
        earlier = [file for file, _ in self.files if not file.is_sheet]
        if earlier and self.rng.random() < 0.25:
            return self._add_sheet(self.rng.choice(earlier))
        path = self.rng.choice(PATHS)
        dialect = path.split("_")[0]
        known = [file for file in earlier if file.dialect == dialect]
        lines = [line for line in known[-1].lines if self.rng.random() < 0.7] if known and self.rng.random() < 0.6 else []
        fresh = [self.draw_line(0, dialect) for _ in range(self.rng.randint(0 if lines else 1, 4))]
        self.add(path, number_lines([*lines, *fresh]))
        return None

    def _add_sheet(self, file: File) -> None:
        """Some records of the file come back, each mended, as it was, or as another row."""
        lines = []
        for line in file.lines:
            if line.table and self.rng.random() < 0.5:
                back = self.rng.choice([line, self.draw_line(0, file.dialect)])
                back = back if back.table else line
                lines.append(Line(0, back.table, *back.content[1:], answers=(file.file_id, line.record_no)))
        if lines:
            self.add(f"quarantine-{file.dialect}.csv", number_lines(lines), is_sheet=True)

    def withdraw_some(self) -> None:
        for pair in list(self.files):
            if self.rng.random() < 0.08:
                self.files.remove(pair)
                withdraw_file(self.store.root, pair[1].path, "of another ship", pair[1].version)

    def tell(self) -> Told:
        order = sorted(self.files, key=lambda pair: (pair[1].received_at, pair[1].path, pair[1].version))
        return History([file for file, _ in order], self.vessels, self.units).told


def number_lines(lines: list[Line]) -> list[Line]:
    return [Line(n, line.table, *line.content[1:], text=line.text, answers=line.answers) for n, line in enumerate(lines, start=1)]
