"""Services done in time, worked by hand: what falls due, when, and what counts as in time.

In: a few records. Out: rows of figure.on_time_monthly, on_time_year, on_time_chart and overdue_duration.
"""

from datetime import date, timedelta
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta

from pipeline.figures.statistics.design_effect import hold_share, pool_design_effect
from pipeline.figures.statistics.display import FEW_CLUSTERS
from pipeline.figures.statistics.proportions import LEAST_CLUSTERS, ClusteredShare, korn_graubard
from tests.property.canonical import Fleet, complete_imo_number
from tests.property.pipeline_door import query, run_fleet

SHIP, SISTER = complete_imo_number(990001), complete_imo_number(990002)
UNIT = {"unit_id": "u", "imo_number": SHIP, "agent": "foam", "form": "portable", "charge_l": 9, "made_on": date(2023, 6, 1),
        "in_service_on": date(2024, 1, 10)}  # fmt: skip
AS_OF = date(2024, 6, 15)


def look(day: date, unit_id: str = "u", imo_number: str = SHIP) -> dict:
    return {"unit_id": unit_id, "imo_number": imo_number, "inspected_on": day, "outcome": "satisfactory"}


def run_case(folder: Path, units: list[dict], looks: list[dict], as_of: date = AS_OF, vessels: list[dict] | None = None, **more):
    return run_fleet(Fleet(as_of, vessels or [{"imo_number": SHIP}], units, looks, **more), folder)


def read_months(db: Path, duty: str = "onboard_check", imo_number: str = SHIP) -> dict[date, tuple]:
    rows = query(db, "SELECT month_end, fell_due, done_in_time, unknown FROM figure.on_time_monthly WHERE duty = ? AND imo_number = ?",
                 [duty, imo_number])  # fmt: skip
    return {row[0]: row[1:] for row in rows}


def test_each_due_date_counts_in_its_own_month(tmp_path):
    """In service 10 January: due 10 February, done on that day; due 10 March, done early on 1 March, so in time and the next due
    on 1 April, done on the 2nd: late. Due 2 May, not done until the day, 15 June: late. Nothing else fell due."""
    db = run_case(tmp_path, [UNIT], [look(date(2024, 2, 10)), look(date(2024, 3, 1)), look(date(2024, 4, 2))])
    assert read_months(db) == {
        date(2024, 2, 29): (1, 1, 0), date(2024, 3, 31): (1, 1, 0), date(2024, 4, 30): (1, 0, 0), date(2024, 5, 31): (1, 0, 0),
    }  # fmt: skip
    assert read_months(db, "*", "*") == read_months(db)
    assert query(db, "SELECT items, still_open, stopped FROM figure.overdue_duration WHERE duty = 'onboard_check' AND imo_number = '*'") == [(2, 1, 0)]  # fmt: skip


@pytest.mark.parametrize(("as_of", "fell_due"), [(date(2024, 3, 10), 0), (date(2024, 3, 11), 1)])
def test_what_falls_due_on_the_day_is_not_in_yet(tmp_path, as_of, fell_due):
    """Due on 10 March."""
    db = run_case(tmp_path, [UNIT], [look(date(2024, 2, 10))], as_of)
    rows = query(db, "SELECT fell_due FROM figure.on_time_monthly WHERE duty = 'onboard_check' AND imo_number = '*' AND month_end = ?", [as_of])  # fmt: skip
    assert rows == [(fell_due,)] * fell_due


def test_a_unit_has_to_count_on_the_due_date(tmp_path):
    """Each on its own ship, due on 10 March: ashore on that day, removed on it, removed the day after, a spare, ashore from the day after."""
    cases = [
        ({"landed_from": date(2024, 3, 10), "landed_to": date(2024, 3, 11)}, 0), ({"removed_on": date(2024, 3, 10)}, 0),
        ({"removed_on": date(2024, 3, 11)}, 1), ({"is_spare": True}, 0), ({"landed_from": date(2024, 3, 11)}, 1), ({}, 1),
    ]  # fmt: skip
    ships = [complete_imo_number(990001 + n) for n in range(len(cases))]
    stays = [UNIT | {"unit_id": f"u{n}", "imo_number": ships[n]} | change for n, (change, _) in enumerate(cases)]
    looks = [look(date(2024, 2, 10), f"u{n}", ship) for n, ship in enumerate(ships)]
    db = run_case(tmp_path, stays, looks, date(2024, 3, 15), [{"imo_number": ship} for ship in ships])
    found = [read_months(db, imo_number=ship).get(date(2024, 3, 15), (0,))[0] for ship in ships]
    assert found == [fell_due for _, fell_due in cases]


def test_two_stays_of_a_unit_with_one_due_date_count_once(tmp_path):
    db = run_case(tmp_path, [UNIT, UNIT | {"in_service_on": date(2024, 1, 12)}], [look(date(2024, 2, 1))], date(2024, 3, 15))
    assert read_months(db)[date(2024, 3, 15)] == (1, 0, 0)


def test_without_a_basis_nothing_falls_due_but_it_is_counted(tmp_path):
    """No date of manufacture: the pressure test has nothing to count from, and any duty carries it."""
    db = run_case(tmp_path, [UNIT | {"made_on": None}], [look(date(2024, 2, 10))], date(2024, 2, 29))
    assert read_months(db, "pressure_test") == {date(2024, 2, 29): (0, 0, 1)}
    assert read_months(db, "*")[date(2024, 2, 29)] == (1, 1, 1)
    flags = query(db, "SELECT flags, rate FROM figure.on_time_monthly WHERE duty = 'pressure_test' AND imo_number = '*' AND month_end = '2024-02-29'")  # fmt: skip
    assert flags == [("nothing fell due; month not over; more than 5 % unknown", None)]


def make_course(
    late: dict[int, int], months: int, units: int = 4, ships: tuple[str, ...] = (SHIP,)
) -> tuple[list[dict], list[dict]]:
    """Units checked on the 1st of each month; in month n the first late[n] units only on the 20th (done late, next from there)."""
    stays, looks = [], []
    for ship in ships:
        for n in range(units):
            stays.append(
                UNIT
                | {"unit_id": f"{ship}{n}", "imo_number": ship, "in_service_on": date(2022, 1, 1), "made_on": date(2021, 1, 1)}
            )
            for month in range(1, months):
                start = date(2022, 1, 1) + relativedelta(months=month)
                looks.append(look(start, f"{ship}{n}", ship))
                if n < late.get(month, 0):
                    looks[-1]["inspected_on"] = start + timedelta(days=3)
    return stays, looks


@pytest.fixture(scope="module")
def two_years(tmp_path_factory):
    """Judged on 31 January 2024, so 25 months; checks fall due on the 1st, or on the 4th after one done on the 4th, and then the next
    check, again on the 1st, is early. Late: 2 of 4 in months 3 (April 2022), 15 (April 2023), all in months 18 and 20."""
    stays, looks = make_course({3: 2, 15: 2, 18: 4, 20: 4}, 25)
    return run_case(tmp_path_factory.mktemp("years"), stays, looks, date(2024, 1, 31))


def hold(done: list[int], due: list[int]) -> ClusteredShare:
    """The share of the only vessel that there is."""
    return hold_share(korn_graubard(done, due), pool_design_effect([(done, due)]))


def test_twelve_months_and_the_twelve_before(two_years):
    rows = query(two_years, "SELECT period, from_on, to_on, fell_due, done_in_time, clusters, low, high, effective_services FROM figure.on_time_year"
                            " WHERE duty = 'onboard_check' AND imo_number = ? ORDER BY from_on DESC", [SHIP])  # fmt: skip
    now = hold([4, 2, 4, 4, 0, 4, 0, 4, 4, 4, 4, 4], [4] * 12)
    before = hold([4, 2, *[4] * 10], [4] * 12)
    assert rows[0] == (
        "last 12 months",
        date(2023, 2, 1),
        date(2024, 1, 31),
        48,
        38,
        12,
        *map(pytest.approx, (now.low, now.high, now.effective)),
    )
    assert rows[1] == ("the 12 before", date(2022, 2, 1), date(2023, 1, 31), 48, 46, 12, *map(pytest.approx, (before.low, before.high, before.effective)))  # fmt: skip


def test_the_change_is_told_or_not(two_years):
    found = query(two_years, "SELECT difference, change, shown, why_not, difference_low FROM figure.on_time_year WHERE duty = 'onboard_check'"
                             " AND imo_number = ? AND period = 'last 12 months'", [SHIP])  # fmt: skip
    assert found[0][:3] == (pytest.approx(38 / 48 - 46 / 48), "too few", "counts only")
    assert "independent services; 30 are needed" in found[0][3] and found[0][4] is None
    none = query(
        two_years, "SELECT change, difference FROM figure.on_time_year WHERE period = 'last 12 months' AND duty = 'pressure_test'"
    )
    assert none == []


def test_the_chart_keeps_its_first_24_months(two_years):
    """24 months with something due, from February 2022 on."""
    rows = query(two_years, "SELECT month_end, baseline_from, baseline_to, baseline_months, centre, why_not FROM figure.on_time_chart"
                            " WHERE duty = 'onboard_check' ORDER BY month_end")  # fmt: skip
    assert len(rows) == 24 and {row[1:] for row in rows} == {(date(2022, 2, 1), date(2024, 1, 31), 24, 84 / 96, None)}


def test_a_short_record_has_no_limits_and_says_so(tmp_path):
    stays, looks = make_course({3: 1}, 10)
    db = run_case(tmp_path, stays, looks, date(2022, 10, 31))
    rows = query(db, "SELECT DISTINCT centre, runs_points, why_not FROM figure.on_time_chart WHERE duty = 'onboard_check'")
    assert rows == [(None, None, "9 months with something due; 20 are needed for limits")]
    assert query(db, "SELECT DISTINCT period, change FROM figure.on_time_year WHERE duty = 'onboard_check'") == [
        ("last 12 months", "too few")
    ]


def test_days_overdue_wait_for_those_still_open(tmp_path):
    """Twelve units due on 1 February; done after 1 to 9 days, one removed on the third day, two still open on 1 March."""
    days = [1, 2, 3, 4, 5, 6, 7, 8, 9]
    stays = [UNIT | {"unit_id": f"u{n}", "in_service_on": date(2024, 1, 1)} for n in range(12)]
    stays[9]["removed_on"] = date(2024, 2, 4)
    looks = [look(date(2024, 2, 1) + timedelta(days=n), f"u{place}") for place, n in enumerate(days)]
    db = run_case(tmp_path, stays, looks, date(2024, 3, 1))
    rows = query(db, "SELECT items, still_open, stopped, median_days, p90_days, median_low, why_not FROM figure.overdue_duration"
                     " WHERE duty = 'onboard_check' AND imo_number = ?", [SHIP])  # fmt: skip
    # by hand: S after 1, 2, 3 days 11/12, 10/12, 9/12 (the one removed on day 3 is still watched on it), then 8 wait: 4 days 9/12 * 7/8 ...
    # after 7 days 9/12 * 4/8 = .375, after 6 .469: the median is 6; after 9 days 9/12 * 2/8 > .1: no 90th percentile
    assert rows == [(12, 2, 1, 6.0, None, None, "less than 90 % of the items have been seen to end")]


def test_a_vessel_that_is_late_where_its_sisters_are_not(tmp_path):
    """Ten months in a row every unit of one of four ships was late: it lies outside, they don't."""
    ships = tuple(complete_imo_number(990001 + n) for n in range(4))
    stays, looks = make_course({}, 25, ships=ships)
    for row in looks:
        if row["imo_number"] == ships[0] and row["inspected_on"].year == 2023 and row["inspected_on"].month <= 10:
            row["inspected_on"] += timedelta(days=2 * row["inspected_on"].month)
    db = run_case(tmp_path, stays, looks, date(2024, 1, 31), vessels=[{"imo_number": ship} for ship in ships])
    flags = dict(
        query(db, "SELECT imo_number, flag FROM figure.on_time_year WHERE duty = 'onboard_check' AND period = 'last 12 months'")
    )
    assert flags[ships[0]] == "fewer in time" and not any(flags[imo] for imo in (*ships[1:], "*"))


def make_call(ships: tuple[str, ...], late: tuple[str, ...]) -> tuple[list[dict], list[dict]]:
    """Fifteen units a ship, serviced in the last ten days of March 2022 and the first five of April; a year later in their turn, the
    units of the `late` ships a month after that."""
    stays, served = [], []
    for ship in ships:
        for n in range(15):
            first = date(2022, 3, 22) + timedelta(days=n)
            stays.append(
                UNIT
                | {"unit_id": f"{ship}{n}", "imo_number": ship, "in_service_on": date(2022, 1, 1), "made_on": date(2021, 6, 1)}
            )
            again = date(2023, 3, 1) if ship not in late else date(2023, 5, 10)
            served += [{"unit_id": f"{ship}{n}", "imo_number": ship, "serviced_on": day, "kind": "annual_service", "outcome": "satisfactory"}
                       for day in (first, again)]  # fmt: skip
    return stays, served


def test_a_call_over_the_turn_of_a_month_is_one_call(tmp_path):
    """Six ships, one call each, due from 22 March to 5 April: six things that stood or fell, whatever the calendar says; three of
    them late tell of no ship and of no year."""
    ships = tuple(complete_imo_number(990001 + n) for n in range(6))
    stays, served = make_call(ships, ships[:3])
    db = run_case(
        tmp_path,
        stays,
        [look(date(2022, 1, 5), stays[0]["unit_id"], ships[0])],
        date(2024, 1, 31),
        [{"imo_number": s} for s in ships],
        service=served,
    )
    rows = query(db, "SELECT imo_number, fell_due, done_in_time, clusters, low, flag, change FROM figure.on_time_year"
                     " WHERE duty = 'annual_service' AND period = 'last 12 months' ORDER BY imo_number")  # fmt: skip
    assert rows[0][:4] == ("*", 90, 45, 6) and rows[0][5:] == (None, "too few")
    assert rows[1:] == [(ship, 15, 0 if ship in ships[:3] else 15, 1, None, None, "too few") for ship in ships]
    whole = query(
        db,
        "SELECT effective_services FROM figure.on_time_year WHERE duty = 'annual_service' AND imo_number = '*' AND period = 'last 12 months'",
    )
    assert whole[0][0] <= 6


@pytest.mark.parametrize("ships", sorted({1, LEAST_CLUSTERS - 1, LEAST_CLUSTERS, FEW_CLUSTERS - 1, FEW_CLUSTERS}))
def test_a_month_says_what_its_limits_rest_on(tmp_path, ships):
    """One unit a ship, due on 10 February 2024 and looked at on that day; the next month has begun and nothing of it is due yet."""
    imos = [complete_imo_number(990001 + n) for n in range(ships)]
    units = [UNIT | {"unit_id": imo, "imo_number": imo} for imo in imos]
    db = run_case(
        tmp_path,
        units,
        [look(date(2024, 2, 10), imo, imo) for imo in imos],
        date(2024, 2, 29),
        [{"imo_number": imo} for imo in imos],
    )
    flags = dict(query(db, "SELECT imo_number, flags FROM figure.on_time_monthly WHERE duty = 'onboard_check' AND month_end = '2024-02-29'"))  # fmt: skip
    rests_on = "too few to have limits; " if ships < LEAST_CLUSTERS else "limits of few vessels; " if ships < FEW_CLUSTERS else ""
    assert flags.pop("*") == f"{rests_on}month not over"
    assert set(flags.values()) == {"too few to have limits; month not over"}, "a month of one vessel has no limits"


@pytest.mark.parametrize(("known", "is_flagged"), [(18, True), (19, False)])
def test_a_month_says_that_its_items_are_not_all_known(tmp_path, known, is_flagged):
    """One unit has no date of manufacture, so its pressure test is unknown: 1 of 19 is more than 5 %, 1 of 20 is not. The others were made ten
    years before February 2024, so their first pressure test falls due in it."""
    units = [UNIT | {"unit_id": f"u{n}", "made_on": date(2014, 2, 10) if n else None} for n in range(known + 1)]
    looks = [look(date(2024, 2, 10), unit["unit_id"]) for unit in units]
    db = run_case(tmp_path, units, looks, date(2024, 2, 29))
    rows = query(db, "SELECT fell_due, unknown, flags FROM figure.on_time_monthly WHERE duty = 'pressure_test' AND imo_number = ? AND month_end = '2024-02-29'",
                 [SHIP])  # fmt: skip
    assert rows[0][:2] == (known, 1) and ("more than 5 % unknown" in rows[0][2]) == is_flagged
