"""A dry run of a draft: the real pipeline on copies, in a place of its own. In: a draft and its files. Out: a `Trial`."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.errors import UserError
from pipeline.learn.learn import Draft
from pipeline.learn.sources import read_sources
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import read_database

# Rows that only lack a register of vessels or units: once it is there, they load.
WAITING = ("unknown-vessel", "unknown-unit")
REGISTERS = ("vessel.csv", "unit.csv")
COPIED = "learnt-file"


@dataclass(frozen=True)
class Trial:
    """What would become of the rows. `reasons` are (rule, table, rows, an example) of those put aside; or why it stopped."""

    read: int = 0
    loaded: int = 0
    waiting: int = 0
    duplicate: int = 0
    reasons: tuple[tuple[str, str, int, str], ...] = ()
    stopped: str = ""
    respelled: int = 0


def try_draft(draft: Draft, paths: list[Path], store: Path, home: Path | None = None) -> Trial:
    """Run the pipeline on copies of the files with the draft as proposed, together with what the store holds and with the
    registers that lie in the folder of exports `home`; where these can't be read as they are, without them."""
    registers = [home / name for name in REGISTERS if home and (home / name).is_file() and home / name not in paths]
    trial = _try_once(draft, paths, store, registers)
    return _try_once(draft, paths, store, []) if registers and trial.stopped else trial


def _try_once(draft: Draft, paths: list[Path], store: Path, registers: list[Path]) -> Trial:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "learn-trial"
        names = _copy_files(paths, folder)
        for register in registers:
            shutil.copyfile(register, folder / register.name)
        text = draft.trial_text.replace(_files_line(draft.trial_text), f"files = [{', '.join(map(_quote, names))}]", 1)
        (folder / "dialects").mkdir()
        (folder / "dialects" / "draft.toml").write_text(text, encoding="utf-8")
        db = Path(scratch) / "trial.duckdb"
        place = store if store.is_dir() else Path(scratch) / "store"
        try:
            run(RunOptions((folder,), place, db, is_trial=True, needs_register=False))
        except UserError as error:
            if error.slug in ("checks-disagree", "check-crashed", "rows-lost"):
                raise
            return Trial(stopped=str(error))
        except OSError as error:
            return Trial(stopped=str(error.strerror))
        return replace(_read_trial(db, folder.name), respelled=_count_respelled(draft, db))


def _copy_files(paths: list[Path], folder: Path) -> list[str]:
    """Unpacked copies under plain names of their own, so that no two clash and no glob sign disturbs."""
    folder.mkdir()
    names = []
    for number, (_, data) in enumerate(read_sources(paths)):
        names.append(f"{COPIED}{number}.csv")
        (folder / names[-1]).write_bytes(data)
    return names


def _files_line(text: str) -> str:
    return next(line for line in text.splitlines() if line.startswith("files = "))


def _quote(name: str) -> str:
    return f'"{name}"'


def _read_trial(db: Path, folder: str) -> Trial:
    """Count the rows of this folder only; the store's others were read beside them."""
    with read_database(db) as con:
        mine = "join (select * from intake.file where starts_with(path, $folder)) as file using (file_id)"
        given = {"folder": f"{folder}/{COPIED}"}
        read, loaded, duplicate = con.execute(
            "select coalesce(sum(rows_read), 0), coalesce(sum(rows_loaded), 0), coalesce(sum(rows_duplicate), 0) "
            "from intake.file where starts_with(path, $folder)",
            given,
        ).fetchone()
        rows = con.execute(
            f"select table_name, rule, path, line_no, reason, q.file_id, record_no, column_name from intake.quarantine as q {mine} "
            "order by path, line_no, record_no, rule",
            given,
        ).fetchall()
    return _sum_up(int(read), int(loaded), int(duplicate), rows)


def _count_respelled(draft: Draft, db: Path) -> int:
    """Unit numbers that no register holds as they stand, but for their spaces, case or leading zeros."""
    sheet = draft.plan.sheet
    headers = {c.source.text for feed in draft.plan.feeds for c in feed.columns if c.name == "unit_id" and not c.is_constant}
    places = [place for place, header in enumerate(sheet.headers) if header in headers]
    numbers = sorted({row[place] for row in sheet.rows for place in places if row[place]})
    if not numbers or any(feed.table.text == "unit" for feed in draft.plan.feeds):
        return 0
    with read_database(db) as con:
        known = {unit_id for (unit_id,) in con.execute("select unit_id from record.unit").fetchall()}
    folded = {_fold_number(number) for number in known}
    return sum(number not in known and _fold_number(number) in folded for number in numbers)


def _fold_number(number: str) -> str:
    """As fold_unit of the contract's macros.sql does it with all that `match` may let differ."""
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", re.sub(r"\s+", "", number).upper())


def _sum_up(read: int, loaded: int, duplicate: int, rows: list[tuple]) -> Trial:
    by_row: dict[tuple, set[str]] = {}
    for table, rule, _, _, _, file_id, record_no, _ in rows:
        by_row.setdefault((table, file_id, record_no), set()).add(rule)
    bad = {key for key, rules in by_row.items() if not rules <= set(WAITING)}
    counted: Counter[tuple[str, str]] = Counter()
    examples: dict[tuple[str, str], str] = {}
    for table, rule, _, line_no, reason, file_id, record_no, _ in rows:
        if (table, file_id, record_no) in bad and rule not in WAITING:
            counted[rule, table] += 1
            examples.setdefault((rule, table), f"line {line_no}: {reason}")
    # A check list makes several rows of one record: rows, not records, are what adds up.
    quarantined = read - loaded - duplicate
    waiting = max(quarantined - len(bad), 0)
    reasons = tuple((rule, table, count, clip_line(examples[rule, table])) for (rule, table), count in counted.most_common())
    return Trial(read, loaded, waiting, duplicate, reasons)


def clip_line(text: str) -> str:
    shown = " ".join(text[:2000].split())
    return shown if len(shown) <= 200 else shown[:199] + "…"
