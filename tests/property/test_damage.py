"""Damaged exports: refused whole with one sentence, or every row accounted for and every whole line with the value it had.

131 damaged copies of the sample exports (each cut to 100 lines, all ten dialects and the canonical tables) in the default run,
4 x 524 of the uncut ones marked slow. Those that are accepted go through one run of the real pipeline, each as its own file.

What holds of a line that came through whole, where the header row did too and stands where it stood:
- no quotation mark in a damaged line before it, and none left open in an undamaged one: it gives the rows it gave before;
- such a mark before it: the same, or it lies within a record of several lines that is well formed as the file now stands;
  but a line with all its delimiters is never the inside of a cell.
Lines at the foot that the dialect leaves out are counted as skipped, whatever they say.
"""

from __future__ import annotations

import random
import re
from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import duckdb
import pytest

from pipeline import contract
from pipeline.errors import UserError
from pipeline.intake.parse import Parsed, parse_file
from pipeline.intake.reader import read_records
from pipeline.intake.store import ReceivedFile, Store
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import open_scratch
from tests.property.damage import KINDS, Damaged, Export, damage, read_exports, split_lines

SAMPLE = Path(__file__).parents[2] / "sample_exports"
REFUSALS = {"no-data-in-file", "wrong-encoding", "garbled-encoding", "not-csv", "header-mismatch", "day-or-month"}
AS_OF = date(2026, 10, 31)
Rows = dict[int, list[tuple]]


@dataclass(frozen=True)
class Case:
    """A damaged file, where it lies in the folder, and what the parser made of it (None: refused with `slug`)."""

    damaged: Damaged
    inner: str
    parsed: Parsed | None
    slug: str = ""


def prepare_folder(folder: Path) -> Path:
    """The sample folder's dialects in a folder of our own; the one that names a single file takes its copies too."""
    for path in (SAMPLE / "dialects").glob("*.toml"):
        text = path.read_text(encoding="utf-8").replace('"calder/particulars.csv"', '"calder/particulars*.csv"')
        (folder / "dialects").mkdir(parents=True, exist_ok=True)
        (folder / "dialects" / path.name).write_text(text, encoding="utf-8")
    for path in SAMPLE.glob("*/**/*.csv"):
        target = folder / path.relative_to(SAMPLE)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(path.read_bytes())
    return folder


def name_copy(export: Export, number: int) -> str:
    """A path that the same dialect reads."""
    place, name = export.inner.rsplit("/", 1)
    if export.dialect.name.startswith("canonical-"):
        return f"{place}/copy_{number:04}/{name}"
    return f"{place}/{name.removesuffix('.csv')}_copy_{number:04}.csv"


def draw_damaged(exports: list[Export], seed: int, single: int, threefold: int) -> list[Damaged]:
    """`single` copies of each kind of damage, and `threefold` copies damaged three times."""
    rng = random.Random(seed)
    plans = [[kind] for kind in KINDS for _ in range(single)]
    plans += [rng.choices(KINDS, k=3) for _ in range(threefold)]
    return [damage(exports[rng.randrange(len(exports))], rng, exports, plan) for plan in plans]


def parse(store: Store, inner: str, data: bytes, export: Export, con) -> Parsed:
    received = ReceivedFile(f"exports/{inner}", store.keep(data, set()), len(data), "2026-11-03T23:59:59Z", "2026-11-03", 1)
    return parse_file(store, received, export.dialect, con)


def try_parse(store: Store, number: int, damaged: Damaged, con) -> Case:
    inner = name_copy(damaged.export, number)
    try:
        return Case(damaged, inner, parse(store, inner, damaged.data, damaged.export, con))
    except UserError as error:
        return Case(damaged, inner, None, error.slug)


def rows_by_line(parsed: Parsed, con) -> Rows:
    """What each line gives: (table, typed values and problems), from the parser's files."""
    found: Rows = defaultdict(list)
    for table, path, _ in parsed.feeds:
        sql = f"select line_no, * exclude (line_no, record_no, item_no) from read_parquet('{path}') order by record_no, item_no"
        for line_no, *values in con.execute(sql).fetchall():
            found[line_no].append((table, repr(values)))
    return found


def say(damaged: Damaged, number: int) -> str:
    """A physical line as text; `number` counts from one."""
    return damaged.lines[number - 1].decode(damaged.export.dialect.encoding).removeprefix("\ufeff" if number == 1 else "")


class Layout:
    """Our own account of a damaged file that was accepted: which lines are head, header, foot, records, and beyond a quote."""

    def __init__(self, damaged: Damaged) -> None:
        dialect = damaged.export.dialect
        texts = [say(damaged, number) for number in range(1, len(damaged.lines) + 1)]
        full = [number for number, text in enumerate(texts, start=1) if text.strip()]
        foot = full[len(full) - dialect.skip_foot :] if dialect.skip_foot else []
        end = foot[0] if foot else len(texts) + 1
        self.header = next(n for n in range(dialect.skip_head + 1, end) if texts[n - 1].strip("\r\n"))
        self.skipped = sum(bool(text.strip()) for text in texts[: dialect.skip_head]) + len(foot)
        self.body = range(self.header + 1, end)
        self.width = len(texts[self.header - 1].split(dialect.delimiter))
        self.marks = [n for n in self.body if '"' in texts[n - 1] and self._may_open(damaged, n, texts[n - 1])]
        self.sheltered = [n for n in self.body if not self.marks or n < self.marks[0]]
        self.records = [n for n in self.body if texts[n - 1].strip("\r\n")]
        self.blank = [n for n in self.records if self._is_blank(texts[n - 1], dialect.delimiter)]
        was = damaged.origin[self.header - 1]
        self.header_is_whole = was == self.header - 1 and '"' not in texts[self.header - 1]

    @staticmethod
    def _may_open(damaged: Damaged, number: int, text: str) -> bool:
        return damaged.origin[number - 1] is None or text.count('"') % 2 == 1

    def _is_blank(self, text: str, delimiter: str) -> bool:
        return not text.replace(delimiter, "").strip() and text.count(delimiter) == self.width - 1


def spans_of(damaged: Damaged) -> tuple[dict[int, int], set[int]]:
    """Each good record's first line -> its last one; and the first lines of the broken ones, by reading once more."""
    records = read_records(damaged.data, damaged.export.dialect, "again.csv")
    spans = {line_no: line_no + sum(len(re.findall("\r\n|\r|\n", cell)) for cell in cells) for _, line_no, cells in records.rows}
    return spans, {item.line_no for item in records.broken}


def check_lines(case: Case, layout: Layout) -> None:
    """Every physical line is in exactly one record, broken or good, or says nothing."""
    damaged = case.damaged
    spans, broken = spans_of(damaged)
    taken = Counter(number for first, last in spans.items() for number in range(first, last + 1)) + Counter(broken)
    assert max(taken.values(), default=1) == 1
    delimiter, width = damaged.export.dialect.delimiter, layout.width
    inside = [number for first, last in spans.items() for number in range(first + 1, last)]
    assert width <= 2 or not [number for number in inside if say(damaged, number).count(delimiter) >= width - 1]
    silent = [number for number in layout.body if number not in taken]
    said = [say(damaged, number).replace(delimiter, "").replace('"', "").strip() for number in silent]
    assert not any(said)
    assert set(taken) <= set(layout.body)
    if not layout.marks:
        assert case.parsed.records == len(layout.records)
        assert sorted(taken) == sorted(set(layout.records) - set(layout.blank))
    assert case.parsed.lines_skipped == layout.skipped


def check_values(case: Case, layout: Layout, was: Rows, now: Rows) -> Counter:
    """Whole lines give what they gave. Returns how many lines stood under which promise."""
    promised: Counter = Counter()
    if not layout.header_is_whole:
        return promised
    spans, _ = spans_of(case.damaged)
    inside = {number for first, last in spans.items() for number in range(first + 1, last + 1)}
    sheltered = set(layout.sheltered)
    for number in layout.body:
        before = case.damaged.origin[number - 1]
        if before is None or (number not in sheltered and '"' in say(case.damaged, number)):
            continue
        is_row = before >= layout.header
        assert now.get(number, []) == was.get(before + 1, []) or not is_row or (number in inside and number not in sheltered)
        promised["sheltered" if number in sheltered else "beyond a quote"] += is_row
        promised["within a record"] += is_row and number in inside
    return promised


def check_accounts(case: Case, layout: Layout, con) -> None:
    """Each record is in a table, broken, or blank: the parser's files hold every one, and none twice over."""
    seen: set[int] = set()
    for _, path, rows in case.parsed.feeds:
        found = con.execute(f"select record_no from read_parquet('{path}')").fetchall()
        assert len(found) == rows
        seen |= {number for (number,) in found}
    broken = [item.record_no for item in case.parsed.broken]
    assert len(broken) == len(set(broken)) and not seen & set(broken)
    silent = set(range(1, case.parsed.records + 1)) - seen - set(broken)
    assert seen | set(broken) <= set(range(1, case.parsed.records + 1))
    if not layout.marks:
        assert len(silent) == len(layout.blank)


def run_accepted(folder: Path, store: Path, cases: list[Case]) -> duckdb.DuckDBPyConnection:
    """One run of the pipeline over the undamaged exports and every accepted copy, received when its original was."""
    received = (SAMPLE / "received.csv").read_text(encoding="utf-8").splitlines()
    days = dict(line.rsplit(",", 1) for line in received[1:])
    for case in cases:
        path = folder / case.inner
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(case.damaged.data)
        received.append(f"{case.inner},{days[case.damaged.export.inner]}")
    (folder / "received.csv").write_text("\n".join(received) + "\n", encoding="utf-8")
    db = store.with_name("damaged.duckdb")
    run(RunOptions((folder,), store, db, AS_OF))
    return duckdb.connect(str(db), read_only=True)


def check_database(con: duckdb.DuckDBPyConnection, cases: list[Case], scratch) -> None:
    """Read = loaded + quarantined + duplicate for every copy, by the parser's own count; what is loaded is what was parsed."""
    counts = {
        path.removeprefix("exports/"): numbers
        for path, *numbers in con.execute(
            "select path, records, lines_skipped, rows_read, rows_loaded, rows_quarantined, rows_duplicate from intake.file"
        ).fetchall()
    }
    loaded, broken = read_loaded(con), read_broken(con)
    for case in cases:
        records, skipped, read, good, bad, same = counts[case.inner]
        assert (records, skipped) == (case.parsed.records, case.parsed.lines_skipped)
        in_tables = sum(rows for _, _, rows in case.parsed.feeds)
        assert read >= in_tables + len(case.parsed.broken) and read == good + bad + same
        rows = loaded.get(f"exports/{case.inner}", Counter())
        assert rows.total() == good
        assert rows <= parsed_rows(case.parsed, scratch)
        assert {(item.record_no, item.line_no, item.rule) for item in case.parsed.broken} == broken[f"exports/{case.inner}"]
    assert con.execute("select count(*) from intake.quarantine where raw is null or reason is null").fetchone() == (0,)


def read_loaded(con: duckdb.DuckDBPyConnection) -> dict[str, Counter]:
    """What each file has in the database, standing or restated: path -> rows."""
    found: dict[str, Counter] = defaultdict(Counter)
    for name, table in contract.tables().items():
        columns = ", ".join(table.column_names)
        for schema in ("record", "history"):
            sql = f"select path, record_no, line_no, {columns} from {schema}.{name} join intake.file using (file_id)"
            for path, *values in con.execute(sql).fetchall():
                found[path][(name, *values)] += 1
    return found


def read_broken(con: duckdb.DuckDBPyConnection) -> dict[str, set[tuple]]:
    """The quarantined records of each file that are no rows: path -> (record, line, rule)."""
    rules = ["ragged-record", "unclosed-quote", "record-too-long", "no-table"]
    sql = "select path, record_no, line_no, rule from intake.quarantine join intake.file using (file_id) where rule in $rules"
    found: dict[str, set[tuple]] = defaultdict(set)
    for path, *place in con.execute(sql, {"rules": rules}).fetchall():
        found[path].add(tuple(place))
    return found


def parsed_rows(parsed: Parsed, con) -> Counter:
    found: Counter = Counter()
    for name, path, _ in parsed.feeds:
        columns = ", ".join(contract.tables()[name].column_names)
        rows = con.execute(f"select record_no, line_no, {columns} from read_parquet('{path}')").fetchall()
        found.update((name, *values) for values in rows)
    return found


def check_all(tmp_path: Path, seed: int, most_lines: int | None, single: int, threefold: int) -> list[Case]:
    """Damage, parse, hold every line and value against our own account, then run the pipeline on all that was accepted."""
    folder = prepare_folder(tmp_path / "exports")
    exports = read_exports(folder, most_lines)
    store, scratch = Store(tmp_path / "store"), open_scratch()
    drawn = draw_damaged(exports, seed, single, threefold)
    cases = [try_parse(store, number, damaged, scratch) for number, damaged in enumerate(drawn)]
    accepted = [case for case in cases if case.parsed]
    assert {case.slug for case in cases} <= REFUSALS | {""}
    bases = {export.inner: rows_by_line(parse(store, export.inner, export.data, export, scratch), scratch) for export in exports}
    promised: Counter = Counter()
    for case in accepted:
        layout = Layout(case.damaged)
        try:
            check_lines(case, layout)
            check_accounts(case, layout, scratch)
            promised += check_values(case, layout, bases[case.damaged.export.inner], rows_by_line(case.parsed, scratch))
        except AssertionError as error:
            raise AssertionError(f"seed {seed}, {case.inner}: {', '.join(case.damaged.done)}") from error
    assert promised["sheltered"] > 1_000 and promised["beyond a quote"] > 100, promised
    con = run_accepted(folder, store.root, accepted)
    check_database(con, accepted, scratch)
    con.close()
    scratch.close()
    return cases


def test_damaged_exports_lose_nothing(tmp_path):
    cases = check_all(tmp_path, seed=0, most_lines=100, single=5, threefold=21)
    refused = [case for case in cases if not case.parsed]
    assert len(cases) == 131 and len(refused) > 15 and len(cases) - len(refused) > 60
    assert {case.damaged.export.dialect.name for case in cases if case.parsed} >= {
        "osten-checks",
        "skellan-service",
        "calder-log",
        "kestrin-checklist",
        "marrowind-service",
        "canonical-inspection",
    }
    by_slug = {case.slug: case for case in refused}
    assert len(by_slug) >= 3
    for number, case in enumerate(by_slug.values()):
        check_refused(tmp_path / str(number), case)


def check_refused(place: Path, case: Case) -> None:
    """The pipeline refuses the file by the same name, and keeps and builds nothing."""
    folder = prepare_folder(place / "exports")
    (folder / case.inner).parent.mkdir(parents=True, exist_ok=True)
    (folder / case.inner).write_bytes(case.damaged.data)
    with pytest.raises(UserError) as caught:
        run(RunOptions((folder,), place / "store", place / "none.duckdb", AS_OF))
    assert caught.value.slug == case.slug and case.inner in str(caught.value)
    assert not (place / "none.duckdb").exists() and not (place / "store" / "received.json").exists()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(1, 5))
def test_more_damaged_exports(tmp_path, seed):
    assert len(check_all(tmp_path, seed, None, single=20, threefold=84)) == 524


def test_the_account_of_lines_is_right():
    """Our own bookkeeping on a case worked out by hand: line 2 damaged, line 3 whole, line 4 gone, a foreign line at the end."""
    export = read_exports(SAMPLE, 6)[0]
    lines = split_lines(export.data)
    starts = [sum(map(len, lines[:number])) for number in range(len(lines))]
    place = starts[1] + 2

    def change(rng, buffer, exports):
        changed = buffer[:place] + [(-1, 63)] + buffer[place + 1 :]
        return changed[: starts[3]] + changed[starts[4] :] + [(-1, byte) for byte in lines[2]]

    damaged = damage(export, random.Random(0), [], [change])
    assert damaged.origin == (0, None, 2, 4, 5, None)
    assert damaged.lines[1] != lines[1] and damaged.lines[5] == lines[2]
