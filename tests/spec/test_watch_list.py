"""Which list the records can carry, whether it would have helped, and why a unit stands where it stands.

In: invented rows of figure.unit_half_year with a known hazard, and small fleets run through. Out: figure.back_test, watch_model, watch_list.
"""

import math
from datetime import date, timedelta
from importlib.resources import files

import duckdb
import numpy as np
import pytest

from pipeline.figures import back_test
from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.hazard import expit
from pipeline.figures.statistics.scores import precision_at
from pipeline.figures.watch_check import count_distribution
from pipeline.figures.watch_list import RUST, order_units
from pipeline.figures.watch_model import BANDS, CHANCES, RULE, Model, choose_kind, fit_model, pick_training
from pipeline.figures.watch_rows import read_rows, score_by_rule
from pipeline.statements import run_sql
from tests.conftest import VESSEL_A

AS_OF = date(2026, 7, 1)
DAYS = [date(year, month, 1) for year in range(2020, 2027) for month in (1, 7)][:13]
COLUMNS = """starts_on date, is_now boolean, unit_id text, imo_number text, age_years double, corrosion_days integer, worst_grade integer,
is_major boolean, pit_mm double, wall_lost_mm double, is_test_due boolean, space_category text, agent text, is_corroded_at_last boolean,
hard_signs integer, condemned boolean, gone_on date, watched_share double, told_on date, condemned_known_on date, gone_known_on date"""


def invent_rows(seed: int, vessels: int = 10, each: int = 40, base: float = -5.0, is_permuted: bool = False) -> list[tuple]:
    """Units that are condemned by the logit of base, rust grade, test due and age; each half-year stands for itself."""
    chance = np.random.default_rng(seed)
    rows, outcomes = [], []
    for day in DAYS:
        count = vessels * each
        grade = np.where(chance.random(count) < 0.25, chance.integers(1, 6, count), 0)
        age, test = chance.uniform(0, 20, count), chance.random(count) < 0.12
        happened = chance.random(count) < expit(base + 0.8 * grade + 1.2 * test + 0.03 * age)
        gone = ~happened & (chance.random(count) < 0.03)
        is_over = day <= date(2025, 7, 1)
        for n in range(count):
            # another unit every half-year, so that a condemned one does not go on
            rows.append(
                [day, day == AS_OF, f"u{day:%y%m}{n:03d}", f"{n // each:07d}", float(age[n]), int(grade[n] > 0),
                 int(grade[n]) or None, bool(grade[n] > 3), None, None, bool(test[n]), "other", "powder", bool(grade[n] > 0), 0,
                 bool(happened[n]) if is_over else None, day + timedelta(100) if gone[n] and is_over else None,
                 (0.27 if gone[n] else 1.0) if is_over else None, *([day.replace(day.year + 1)] * 3 if is_over else [None] * 3)]
            )  # fmt: skip
            outcomes.append(rows[-1][15:])
    if is_permuted:
        known = [n for n, row in enumerate(rows) if row[15] is not None]
        for n, other in zip(known, chance.permutation(known), strict=True):
            rows[n][15:] = outcomes[other]
    return [tuple(row) for row in rows]


def run_back_test(rows: list[tuple]) -> duckdb.DuckDBPyConnection:
    """The figures of these rows."""
    con = duckdb.connect()
    con.execute(f"create schema figure; create table figure.unit_half_year ({COLUMNS})")
    insert_rows(con, "figure.unit_half_year", rows)
    run_sql(con, files("pipeline.figures").joinpath("back_test.sql").read_text(encoding="utf-8"), {"as_of": AS_OF})
    back_test.fill(con, AS_OF)
    return con


def read_model(con) -> dict:
    cursor = con.execute("from figure.watch_model")
    return dict(zip([column[0] for column in cursor.description], cursor.fetchall()[0], strict=True))


def find_strange(con, tables) -> list:
    """Numbers that are none."""
    return [
        (table, value)
        for table in tables for row in con.execute(f"from figure.{table}").fetchall() for value in row
        if isinstance(value, float) and not math.isfinite(value)
    ]  # fmt: skip


TABLES = ("back_test", "back_test_group", "back_test_condemned", "watch_model", "watch_weight")


@pytest.mark.parametrize(("events", "kind"), [(0, RULE), (10, RULE), (11, BANDS), (40, BANDS), (41, CHANCES)])
def test_what_so_many_condemned_units_carry(events, kind):
    assert choose_kind(events) == kind


def test_many_events_carry_chances_that_hold():
    con = run_back_test(invent_rows(1))
    told = read_model(con)
    assert told["kind"] == CHANCES and told["events"] > 40 and told["won"] > told["lost"]
    slope, low = con.execute(
        "select calibration_slope, gain_5_low from figure.back_test where cutoff is null and method = 'model'"
    ).fetchone()
    assert slope == pytest.approx(1, abs=0.25) and low > 0
    odds = dict(con.execute("select trait, odds from figure.watch_weight").fetchall())
    assert odds["test"] == pytest.approx(math.exp(1.2), rel=0.5) and odds["grade"] > 1.5
    assert odds["deck"] == odds["co2"] == 1  # never varies here
    assert not find_strange(con, TABLES)


def test_condemned_units_of_fifths_and_bands_are_as_many_as_counted():
    con = run_back_test(invent_rows(1))
    counted = con.execute(
        "select grouped_by, group_no, condemned from figure.back_test_group where condemned > 0 order by all"
    ).fetchall()
    listed = con.execute(
        "select grouped_by, group_no, count(*) from figure.back_test_condemned group by all order by all"
    ).fetchall()
    assert counted == listed and len(counted) > 5
    strange = con.execute("""
        select count(*) from figure.back_test_condemned left join figure.unit_half_year as row on row.unit_id = back_test_condemned.unit_id
            and starts_on = cutoff where not coalesce(condemned, false)""").fetchone()
    assert strange == (0,)
    each = con.execute(
        "select count(*), count(distinct (grouped_by, cutoff, unit_id)) from figure.back_test_condemned"
    ).fetchone()
    assert each[0] == each[1]


def test_few_events_carry_no_model():
    con = run_back_test(invent_rows(2, vessels=2, each=15, base=-7))
    told = read_model(con)
    assert told["events"] <= 10 and told["kind"] == RULE and "more than 10 are needed" in told["why"]
    assert con.execute("select count(*) from figure.watch_weight").fetchone() == (0,)
    assert con.execute("select count(*) from figure.back_test where method = 'model' and expected is not null").fetchone() == (0,)
    assert not find_strange(con, TABLES)


@pytest.mark.parametrize("rows", [[], invent_rows(3, 1, 1), [row for row in invent_rows(4, 1, 30) if row[0] == AS_OF]])
def test_next_to_nothing_is_told_plainly(rows):
    con = run_back_test(rows)
    told = read_model(con)
    assert told["kind"] == RULE and told["why"].endswith("no chance is given")
    assert not find_strange(con, TABLES)


def test_outcomes_that_follow_nothing_give_no_model():
    """Permuted outcomes: whatever was fitted, its first 5 % is not better than oldest first by more than chance."""
    con = run_back_test(invent_rows(5, is_permuted=True))
    low, high, top, found = con.execute(
        "select gain_5_low, gain_5_high, top_5, found_5 from figure.back_test where cutoff is null and method = 'model'"
    ).fetchone()
    share = read_model(con)["condemned_share"]
    assert low < 0 < high and abs(found - top * share) < 3 * math.sqrt(top * share)


def test_precision_is_that_of_the_list_itself():
    """Another way: the list of one half-year made again and counted by scores.precision_at."""
    con = run_back_test(invent_rows(6))
    rows = read_rows(con)
    day = np.datetime64("2023-01-01")
    now, model = rows.pick(rows.starts == day), fit_model(pick_training(rows, day))
    assert isinstance(model, Model)
    for method, scores in (("model", model.chance(now)), ("rule", score_by_rule(now)), ("oldest_first", now.age)):
        found = con.execute(
            "select units, top_5, precision_at_5_pct, precision_at_10_pct from figure.back_test where cutoff = ? and method = ?",
            ["2023-01-01", method],
        ).fetchone()
        kept = ~now.gone
        tops = [precision_at(scores[kept], now.condemned[kept], int(found[0] * share + 0.5)) for share in (0.05, 0.10)]
        assert found[2:] == pytest.approx(tops, abs=1e-8) and found[1] == int(found[0] * 0.05 + 0.5)


def test_a_list_knows_nothing_of_what_came_after_it():
    """Outcomes after a cutoff are turned round: what was learned by then, and expected, stays as it was."""
    rows = invent_rows(7)
    turned = [(*row[:15], not row[15], *row[16:]) if row[15] is not None and row[0] > date(2022, 1, 1) else row for row in rows]
    told = []
    for each in (rows, turned):
        con = run_back_test(each)
        told.append(
            con.execute(
                "select cutoff, method, kind, events, expected from figure.back_test where cutoff <= date '2023-01-01' order by all"
            ).fetchall()
        )
    assert told[0] == told[1] and any(row[4] for row in told[0])


def test_a_list_learns_only_from_what_was_known_on_its_day():
    """Condemnations of 2020 and 2021 that nobody told before 2025: no past list learned from them, today's does."""
    rows = invent_rows(11)
    late = [(*row[:19], date(2025, 2, 1), row[20]) if row[15] and row[0] < date(2022, 1, 1) else row for row in rows]
    never = [(*row[:15], False, *row[16:]) if row[15] and row[0] < date(2022, 1, 1) else row for row in rows]
    asked = (
        "select cutoff, method, kind, events, round(expected, 6) from figure.back_test where cutoff < '2025-01-01' order by all"
    )
    told = [run_back_test(each) for each in (late, never, rows)]
    assert told[0].execute(asked).fetchall() == told[1].execute(asked).fetchall() != told[2].execute(asked).fetchall()
    assert read_model(told[0])["events"] == read_model(told[2])["events"] > read_model(told[1])["events"]
    # and an outcome that could not be told by then is no outcome then
    untold = [
        (*row[:18], date(2025, 2, 1), *row[19:]) if row[15] is not None and row[0] < date(2022, 1, 1) else row for row in rows
    ]
    events = "select sum(events) from figure.back_test where method = 'model' and cutoff < '2023-01-01'"
    assert run_back_test(untold).execute(events).fetchone() == (0,)


def test_the_same_rows_give_the_same_figures():
    told = [[run_back_test(invent_rows(8)).execute(f"from figure.{table}").fetchall() for table in TABLES] for _ in (1, 2)]
    assert told[0] == told[1]


def test_limits_hold_the_chance_and_reach_further_for_a_rare_unit():
    con = run_back_test(invent_rows(1))
    rows = read_rows(con)
    order = order_units(rows.pick(rows.is_now), fit_model(pick_training(rows, np.datetime64(AS_OF), is_now=True)), CHANCES)
    assert (order.low < order.chances).all() and (order.chances < order.high).all()
    for name, changed in order.changed.items():
        assert (changed >= order.chances - 1e-12).all() if name == RUST else (changed <= order.chances + 1e-12).all()


def test_one_vessel_says_nothing_by_limits_without_width():
    """Of one vessel units are drawn; outcomes dealt anew are no gain, and the model that won by luck is not used."""
    for seed in (100, 101, 102):
        con = run_back_test(invent_rows(seed, 1, 200, -4.5, is_permuted=True))
        low, high = con.execute(
            "select gain_5_low, gain_5_high from figure.back_test where cutoff is null and method = 'model'"
        ).fetchone()
        assert low <= 0 <= high and high - low > 0.02
        told = read_model(con)
        assert told["kind"] == RULE and "not better than those of age alone" in told["why"]


@pytest.mark.parametrize("turn", ["none", "level", "order"])
def test_a_model_that_no_longer_holds_is_noticed(turn):
    """In the last year twice as many are condemned, or as many as expected, all of them among units without a sign."""
    rows, last = invent_rows(21), date(2025, 7, 1)
    if turn == "level":
        rows = [(*row[:15], row[15] or n % 12 == 0, *row[16:]) if row[0] == last else row for n, row in enumerate(rows)]
    if turn == "order":
        count = sum(row[15] for row in rows if row[0] == last)
        clean = [n for n, row in enumerate(rows) if row[0] == last and not row[6] and not row[10]][:count]
        rows = [(*row[:15], n in clean, *row[16:]) if row[0] == last else row for n, row in enumerate(rows)]
    told = read_model(run_back_test(rows))
    assert (told["checked_p"] < 0.005) == (turn == "level")
    assert (told["checked_order_p"] < 0.005) == (turn in ("order", "level"))


def test_number_of_events_of_unequal_chances():
    """By hand: chances .1 and .5."""
    assert count_distribution(np.array([0.1, 0.5])) == pytest.approx([0.45, 0.5, 0.05])


@pytest.fixture
def hard_fleet() -> dict[str, str]:
    """Four units, of which one has a wall below the maker's least and one is a spare whose pressure test failed."""
    return {
        "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,space_category,wall_mm,wall_min_mm,made_on,in_service_on,is_spare
            U1,{VESSEL_A},powder,portable,6,open_deck,1.6,1.2,2010-01-31,2010-03-31,
            U2,{VESSEL_A},powder,portable,6,machinery,1.6,1.2,2020-06-01,2020-07-01,
            U3,{VESSEL_A},powder,portable,6,machinery,1.6,1.2,2019-06-01,2020-02-01,
            U4,{VESSEL_A},powder,portable,6,machinery,1.6,1.2,2019-06-01,2020-02-01,true""",
        "service.csv": f"""unit_id,imo_number,serviced_on,kind,outcome,wall_mm_measured
            U1,{VESSEL_A},2025-11-30,annual_service,satisfactory,
            U2,{VESSEL_A},2025-11-30,annual_service,satisfactory,1.1
            U4,{VESSEL_A},2025-11-30,pressure_test,unsatisfactory,""",
        "finding.csv": f"""unit_id,imo_number,found_on,component,defect,severity,rust_grade,closed_on
            U1,{VESSEL_A},2025-11-30,shell,corrosion,minor,Ri2,2025-11-30""",
    }


def test_hard_reasons_come_first_and_every_reason_leads_to_its_record(exports, run_on, hard_fleet):
    con = run_on(exports(hard_fleet))[1]
    listed = con.execute(
        "select unit_id, hard_reason is not null, kind, chance_12_months, points, counted from figure.watch_list order by list_rank"
    )
    assert listed.fetchall() == [
        ("U2", True, "rule", None, pytest.approx(5.93 / 15, abs=0.01), "in service"),
        ("U4", True, "rule", None, None, "spare"),
        ("U1", False, "rule", None, pytest.approx(2 + 1 + 16.27 / 15 + 0.5, abs=0.01), "in service"),
        ("U3", False, "rule", None, pytest.approx(6.93 / 15, abs=0.01), "in service"),
    ]
    reasons = con.execute(
        "select unit_id, kind, trait, weight, table_name, record_no from figure.watch_reason order by unit_id, reason_no, table_name, record_no"
    ).fetchall()
    assert [row for row in reasons if row[0] == "U1"] == [
        ("U1", "points", "corrosion", 2.0, "finding", 1),
        ("U1", "points", "age", pytest.approx(16.27 / 15, abs=0.01), "unit", 1),
        ("U1", "points", "test", 1.0, "unit", 1),
    ]
    assert ("U3", "no record", "no service", None, "unit", 3) in reasons
    assert [row[1] for row in reasons if row[0] in ("U2", "U4")] == ["hard", "hard"]
    orphans = con.execute(
        """select count(*) from figure.watch_reason as reason anti join (
            select 'unit' as table_name, file_id, record_no, unit_id from record.unit union all select 'service', file_id, record_no, unit_id from record.service
            union all select 'finding', file_id, record_no, unit_id from record.finding) as record using (table_name, file_id, record_no, unit_id)"""
    ).fetchone()
    assert orphans == (0,)


def test_what_would_change_the_rank(exports, run_on, hard_fleet):
    con = run_on(exports(hard_fleet))[1]
    told = dict(con.execute("select unit_id, would_change from figure.watch_list").fetchall())
    assert told["U1"].startswith("26 months of services that find no corrosion: rank 3")
    assert told["U2"] == "a hard reason stands whatever the order" and told["U3"].startswith(
        "corrosion found, of rust grade Ri3: rank 4, 2.5 points then"
    )


@pytest.mark.parametrize("day", ["2009-01-01", "2026-05-10"])
def test_a_fleet_without_units_in_service_has_a_plain_list(exports, run_on, small_fleet, day):
    con = run_on(exports(small_fleet), as_of=date.fromisoformat(day))[1]
    assert con.execute("select kind from figure.watch_model").fetchall() == [("rule",)]
    assert len(con.execute("from figure.watch_list").fetchall()) == (0 if day < "2010" else 2)
