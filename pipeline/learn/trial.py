"""A dry run of a draft: the real pipeline on copies, in a place of its own. In: a draft and its files. Out: a `Trial`."""

from __future__ import annotations

import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import UserError
from pipeline.learn.learn import Draft
from pipeline.learn.sources import read_sources
from pipeline.run import RunOptions, run
from pipeline.warehouse.build import read_database

# Rows that only lack a register of vessels or units: once it is there, they load.
WAITING = ("unknown-vessel", "unknown-unit")


@dataclass(frozen=True)
class Trial:
    """What would become of the rows. `reasons` are (rule, table, rows, an example) of those put aside; or why it stopped."""

    read: int = 0
    loaded: int = 0
    waiting: int = 0
    duplicate: int = 0
    reasons: tuple[tuple[str, str, int, str], ...] = ()
    stopped: str = ""


def try_draft(draft: Draft, paths: list[Path], store: Path) -> Trial:
    """Run the pipeline on copies of the files with the draft as proposed, together with what the store holds."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "learn-trial"
        names = _copy_files(paths, folder)
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
        return _read_trial(db, folder.name)


def _copy_files(paths: list[Path], folder: Path) -> list[str]:
    """Unpacked copies under plain names of their own, so that no two clash and no glob sign disturbs."""
    folder.mkdir()
    names = []
    for number, (_, data) in enumerate(read_sources(paths)):
        names.append(f"file{number}.csv")
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
        given = {"folder": f"{folder}/"}
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
