"""Random histories of files that overlap: versions, increments, full lists, sheets, withdrawals, against a plain reference.

In: seeds (more of them under `slow`), and hand-worked cases. Out: every row's fate, every quarantined record's answer and
every flag on what was left out must be those of overlap_reference.py.
"""

from __future__ import annotations

import random
from pathlib import Path

import duckdb
import pytest

from pipeline.run import RunOptions, run
from tests.property.overlap_reference import NO_DAY, WORDS, Line, Told
from tests.property.random_histories import Maker, number_lines

HISTORIES = 40
SEEDS = [0, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(1, 30))]


def run_store(makers: list[Maker], root: Path) -> Path:
    run(RunOptions(tuple(maker.folder for maker in makers), root / "store", root / "overlap.duckdb"))
    return root / "overlap.duckdb"


def read_told(con: duckdb.DuckDBPyConnection) -> Told:
    """What the database says, in the shape of the reference; the canonical registers are left out."""
    ours = "file_id in (select file_id from intake.file where path not like '%/vessel.csv' and path not like '%/unit.csv')"
    told = Told()
    for fate, schema in (("standing", "record"), ("replaced", "history")):
        for table in ("inspection", "unit"):
            for mark in con.execute(f"select file_id, record_no from {schema}.{table} where {ours}").fetchall():
                told.fates[mark] = fate
    for *mark, by in con.execute(
        f"select distinct file_id, record_no, superseded_by from intake.quarantine where {ours}"
    ).fetchall():
        assert tuple(mark) not in told.answered_by, "one record, two answers"
        told.answered_by[tuple(mark)], told.fates[tuple(mark)] = by, "failed"
    for rule, marks in (("left-out-of-later-version", told.left_out), ("vanished-from-full-list", told.vanished)):
        sql = f"select file_id, record_no from intake.flag where rule = $rule and {ours}"
        marks.update(con.execute(sql, {"rule": rule}).fetchall())
    return told


def list_differences(expected: Told, found: Told, names: dict[str, str]) -> list[str]:
    def name(mark: tuple) -> str:
        return f"{names[mark[0]]} record {mark[1]}"

    lines = [
        f"fate of {name(mark)}: {fate}, found {found.fates.get(mark, 'duplicate')}"
        for mark, fate in expected.fates.items()
        if fate != found.fates.get(mark, "duplicate")
    ]
    lines += [
        f"{name(mark)} answered by {names.get(by)}, found {names.get(found.answered_by.get(mark))}"
        for mark, by in expected.answered_by.items()
        if by != found.answered_by.get(mark)
    ]
    for rule in ("left_out", "vanished"):
        one, other = getattr(expected, rule), getattr(found, rule)
        lines += [f"{rule}: lacks {name(mark)}" for mark in sorted(one - other)]
        lines += [f"{rule}: should not have {name(mark)}" for mark in sorted(other - one) if mark[0] in names]
    return lines


def compare(makers: list[Maker], root: Path) -> list[str]:
    told = [maker.tell() for maker in makers]
    names = {file.file_id: f"{received.path} v{received.version}" for maker in makers for file, received in maker.files}
    expected = Told(
        {mark: fate for one in told for mark, fate in one.fates.items()},
        {mark: by for one in told for mark, by in one.answered_by.items()},
        {mark for one in told for mark in one.left_out},
        {mark for one in told for mark in one.vanished},
    )
    with duckdb.connect(str(run_store(makers, root)), read_only=True) as con:
        return list_differences(expected, read_told(con), names)


@pytest.mark.parametrize("seed", SEEDS)
def test_random_histories_come_to_what_the_reference_says(tmp_path, seed):
    rng = random.Random(seed)
    makers = []
    for number in range(HISTORIES):
        maker = Maker(rng, tmp_path, number, rng.choice([None, "vessel", "vessel", "fleet"]))
        for _ in range(rng.randint(2, 6)):
            maker.draw_step()
        maker.withdraw_some()
        makers.append(maker)
    differences = compare(makers, tmp_path)
    assert not differences, "\n".join([f"{len(differences)} differences", *differences[:25]])


def test_the_histories_reach_every_fate(tmp_path):
    rng = random.Random(0)
    told = []
    for number in range(HISTORIES):
        maker = Maker(rng, tmp_path, number, rng.choice([None, "vessel", "fleet"]))
        for _ in range(6):
            maker.draw_step()
        told.append(maker.tell())
    fates = [fate for one in told for fate in one.fates.values()]
    assert {"standing", "replaced", "duplicate", "failed"} == set(fates)
    answers = [by for one in told for by in one.answered_by.values()]
    assert answers.count(None) > 20 and len(answers) - answers.count(None) > 20
    assert sum(len(one.left_out) for one in told) > 5 and sum(len(one.vanished) for one in told) > 5


@pytest.fixture
def maker(tmp_path) -> Maker:
    return Maker(random.Random(0), tmp_path, 0, "vessel")


def row(maker: Maker, unit: str, table: str = "inspection", vessel: int = 0, day: str = "2026-01-05", **more) -> Line:
    return Line(0, table, f"{maker.tag}{unit}", maker.vessels[vessel], day, WORDS[table][0], maker.tag, **more)


def add_all(maker: Maker, *files: tuple[str, list[Line]]) -> None:
    for path, lines in files:
        maker.add(path, number_lines(lines), is_sheet=path.startswith("quarantine-"))


def marks(maker: Maker, found: set[tuple]) -> list[tuple]:
    names = {file.file_id: (received.path.split("/")[1], received.version) for file, received in maker.files}
    return sorted((*names[file_id], record_no) for file_id, record_no in found)


def test_a_row_given_again_and_left_out_of_the_third_version_is_flagged(maker, tmp_path):
    both = [row(maker, "U0"), row(maker, "U1")]
    add_all(maker, ("log_1.csv", both), ("log_1.csv", [*both, row(maker, "U2")]), ("log_1.csv", both[:1] + [row(maker, "U2")]))
    assert marks(maker, maker.tell().left_out) == [("log_1.csv", 1, 2)]
    assert compare([maker], tmp_path) == []


def test_a_row_that_comes_back_is_not_flagged_as_left_out(maker, tmp_path):
    both = [row(maker, "U0"), row(maker, "U1")]
    add_all(maker, ("log_1.csv", both), ("log_1.csv", both[:1]), ("log_1.csv", both))
    assert marks(maker, maker.tell().left_out) == []
    assert compare([maker], tmp_path) == []


def test_a_sheet_is_no_full_list(maker, tmp_path):
    """Its one mended row must not make the rest of the vessel's units vanish, nor answer other rows of the list."""
    good, bad = row(maker, "L0", "unit"), row(maker, "L1", "unit", day=NO_DAY)
    other = row(maker, "L2", "unit", day=NO_DAY)
    add_all(maker, ("list_1.csv", [good, bad, other]))
    file_id = maker.files[0][0].file_id
    add_all(maker, ("quarantine-list.csv", [row(maker, "L1", "unit", answers=(file_id, 2))]))
    told = maker.tell()
    assert told.vanished == set() and told.answered_by[file_id, 3] is None and told.answered_by[file_id, 2] is not None
    assert compare([maker], tmp_path) == []


def test_a_bad_row_of_a_vessel_with_no_good_one_is_answered_by_its_next_full_list(maker, tmp_path):
    lines = [row(maker, "L0", "unit"), row(maker, "L1", "unit", vessel=1, day=NO_DAY)]
    add_all(maker, ("list_1.csv", lines), ("list_2.csv", [row(maker, "L1", "unit", vessel=1)]))
    (file, _), (later, _) = maker.files
    assert maker.tell().answered_by == {(file.file_id, 2): later.file_id}
    assert compare([maker], tmp_path) == []


def test_another_record_of_an_unknown_kind_answers_nothing(maker, tmp_path):
    one, other, good = Line(0, None, text="odd,1,,,,,"), Line(0, None, text="odd,2,,,,,"), row(maker, "U0")
    add_all(maker, ("both_1.csv", [good, one]), ("both_2.csv", [good, other]))
    assert set(maker.tell().answered_by.values()) == {None}
    assert compare([maker], tmp_path) == []
