"""read = loaded + quarantined + duplicate, for whatever mess of rows, and each row's fate is the right one."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest

from tests.conftest import VESSEL_A, VESSEL_B

OUTCOMES = ["satisfactory", "unsatisfactory", "not_found", "no_access", "", "fine", "OK?"]
DAYS = [str(date(2026, 1, 1) + timedelta(days=n)) for n in range(6)] + ["2026-02-30", "", "1990-01-01", "2031-01-01"]


def draw_lines(rng: random.Random, count: int) -> list[str]:
    """Inspection lines, good and bad, with many repeated keys; now and then one that is no record."""
    lines = []
    for _ in range(count):
        cells = [
            rng.choice(["U1", "U2", "U3", ""]),
            rng.choice([VESSEL_A, VESSEL_A, VESSEL_B, "9999994", ""]),
            rng.choice(DAYS),
            rng.choice(OUTCOMES),
        ]
        # The unclosed quote stands before a letter: before a comma it could close one of an earlier line.
        broken = [",".join(cells[:3]), '"U1' + ",".join(cells), ",".join(cells) + ",x"]
        lines.append(rng.choice([",".join(cells)] * 12 + broken))
    return lines


def naive_reading(files: list[list[str]]) -> dict[str, int]:
    """The fate of every line, told in the plainest way: a loop over files in order of receipt."""
    fate = {"read": 0, "loaded": 0, "quarantined": 0, "duplicate": 0}
    standing: dict[tuple, tuple] = {}
    for lines in files:
        rows = [line.split(",") for line in lines]
        good = []
        by_key: dict[tuple, set] = {}
        for cells in rows:
            if cells == ["", "", "", ""]:
                continue
            fate["read"] += 1
            if len(cells) != 4 or '"' in cells[0]:
                fate["quarantined"] += 1
                continue
            unit, imo, day, outcome = cells
            known = outcome if outcome in OUTCOMES[:5] else None
            real_day = day if day and day != "2026-02-30" else None
            if unit:
                by_key.setdefault((unit, real_day), set()).add((imo, known))
            bad = (
                unit not in ("U1", "U2")
                or imo != VESSEL_A
                or real_day is None
                or real_day in ("1990-01-01", "2031-01-01")
                or known is None
            )
            good.append(((unit, real_day), (imo, known), bad))
        for key, content, bad in good:
            if bad or len(by_key.get(key, ())) > 1:
                fate["quarantined"] += 1
            elif standing.get(key) == content:
                fate["duplicate"] += 1
            else:
                standing[key] = content
                fate["loaded"] += 1
    return fate | {"standing": len(standing)}


@pytest.mark.parametrize("seed", range(4))
def test_every_row_has_one_fate(exports, run_on, small_fleet, seed):
    rng = random.Random(seed)
    files = [draw_lines(rng, rng.randint(0, 40)) for _ in range(3)]
    texts = {name: small_fleet[name] for name in ("vessel.csv", "unit.csv")}
    for number, lines in enumerate(files):
        header = "unit_id,imo_number,inspected_on,outcome"
        texts[f"{number}/inspection.csv"] = "\n".join([header, *lines]).encode() + b"\n"
    received = [f"{number}/inspection.csv,2026-0{number + 3}-01" for number in range(3)]
    texts["received.csv"] = "\n".join(["path,received_at", "vessel.csv,2026-01-01", "unit.csv,2026-01-01", *received])
    _, con = run_on(exports(texts))
    expected = naive_reading(files)
    found = con.execute(
        "select sum(rows_read), sum(rows_loaded), sum(rows_quarantined), sum(rows_duplicate), "
        "(select count(*) from record.inspection) from intake.file where path like '%inspection.csv'"
    ).fetchone()
    assert dict(zip(expected, found, strict=True)) == expected
    assert con.execute(
        "select count(*) from intake.file where rows_read <> rows_loaded + rows_quarantined + rows_duplicate"
    ).fetchone() == (0,)
    kept = con.execute("select count(*) from record.inspection").fetchone()[0]
    replaced = con.execute("select count(*) from history.inspection").fetchone()[0]
    assert kept + replaced == expected["loaded"]


def test_the_generator_reaches_every_fate():
    rng = random.Random(0)
    fates = [naive_reading([draw_lines(rng, 40) for _ in range(3)]) for _ in range(20)]
    assert all(sum(fate[name] for fate in fates) > 0 for name in ("loaded", "quarantined", "duplicate"))


def test_a_later_file_restates_and_both_stay_findable(exports, run_on, small_fleet):
    texts = {
        **small_fleet,
        "b/inspection.csv": f"unit_id,imo_number,inspected_on,outcome\nU1,{VESSEL_A},2026-04-30,unsatisfactory",
        "c/inspection.csv": f"unit_id,imo_number,inspected_on,outcome\nU1,{VESSEL_A},2026-04-30,satisfactory",
        "received.csv": """path,received_at
            vessel.csv,2026-01-01
            unit.csv,2026-01-01
            inspection.csv,2026-05-01
            b/inspection.csv,2026-05-02
            c/inspection.csv,2026-05-03""",
    }
    folder = exports(texts)
    _, con = run_on(folder)
    sql = "select outcome, path from {}.inspection as row join intake.file using (file_id) where unit_id = 'U1' and inspected_on = '2026-04-30'"
    assert con.execute(sql.format("record")).fetchall() == [("satisfactory", "exports/c/inspection.csv")]
    assert sorted(con.execute(sql.format("history")).fetchall()) == [
        ("satisfactory", "exports/inspection.csv"),
        ("unsatisfactory", "exports/b/inspection.csv"),
    ]
    from datetime import UTC, datetime

    _, then = run_on(folder, known_at=datetime(2026, 5, 2, 23, 59, 59, tzinfo=UTC))
    assert then.execute(sql.format("record")).fetchall() == [("unsatisfactory", "exports/b/inspection.csv")]


def test_the_same_bytes_under_another_name_are_duplicates(exports, run_on, small_fleet):
    _, con = run_on(exports({**small_fleet, "again/inspection.csv": small_fleet["inspection.csv"]}))
    assert con.execute(
        "select sum(rows_duplicate), sum(rows_loaded) from intake.file where path like '%inspection.csv'"
    ).fetchone() == (3, 3)


def test_the_latest_version_of_a_file_stands_even_if_it_is_an_old_one(exports, run_on, small_fleet, tmp_path):
    """A, then B, then A again under one name and one declared day: A stands."""
    received = "path,received_at\n" + "\n".join(f"{name},2026-05-01" for name in small_fleet)
    folder = exports({**small_fleet, "received.csv": received})
    for name in ("Quiet Heron", "Loud Heron", "Quiet Heron", "Third Heron"):
        (folder / "vessel.csv").write_text(f"imo_number,vessel_name\n{VESSEL_A},{name}\n")
        _, con = run_on(folder)
        assert con.execute("select vessel_name from record.vessel").fetchall() == [(name,)]
    versions = con.execute(
        "select count(*), count(distinct file_id), count(superseded_by) from intake.file where path like '%vessel.csv'"
    )
    assert versions.fetchone() == (4, 4, 3)


def test_a_folder_on_the_way_does_not_become_a_column(exports, run_on, small_fleet):
    _, con = run_on(exports(small_fleet), store="agent=foam")
    assert con.execute("select distinct agent from record.unit order by agent").fetchall() == [("co2",), ("powder",)]


@pytest.mark.parametrize(
    "stamp, rows", [("2026-05-01T06:00+12:00", 1), ("2026-05-01", 1), ("2026-04-30", 0), ("2026-04-30T23:00Z", 0)]
)
def test_received_on_is_the_senders_day(exports, run_on, small_fleet, stamp, rows):
    texts = {
        **small_fleet,
        "inspection.csv": f"unit_id,imo_number,inspected_on,outcome\nU1,{VESSEL_A},2026-05-01,satisfactory",
        "received.csv": f"path,received_at\ninspection.csv,{stamp}",
    }
    _, con = run_on(exports(texts))
    assert con.execute("select count(*) from record.inspection").fetchone() == (rows,)


def test_reversed_periods_are_flagged(exports, run_on, small_fleet):
    texts = {
        **small_fleet,
        "unit.csv": f"""unit_id,imo_number,agent,made_on,in_service_on,removed_on,landed_from,landed_to
            U1,{VESSEL_A},powder,2015-01-31,2016-01-31,2015-12-31,,
            U2,{VESSEL_A},co2,2018-06-01,2020-02-01,,2026-03-01,2026-02-01""",
    }
    _, con = run_on(exports(texts))
    flags = con.execute("select column_name, value from intake.flag where rule = 'ends-before-it-begins' order by all").fetchall()
    assert flags == [("landed_to", "2026-03-01 to 2026-02-01"), ("removed_on", "2016-01-31 to 2015-12-31")]
    units = con.execute(
        "select units, unit_days from figure.overdue_monthly where month_end = '2026-03-31' and imo_number = '*' and duty = '*'"
    )
    assert units.fetchall() == [(1, 31)]
