"""The figures about defects on small fleets that can be counted by hand."""

from __future__ import annotations

from datetime import date
from importlib.resources import files

import duckdb
import pytest

from pipeline import contract
from pipeline.figures.build import FIGURES, compute_figures
from pipeline.warehouse.build import open_scratch
from tests.conftest import VESSEL_A, VESSEL_B

AS_OF = date(2026, 5, 10)
REGISTER = "unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on,maker,space_category"
LOOKS = "unit_id,imo_number,inspected_on,outcome"
WORK = "unit_id,imo_number,serviced_on,kind,outcome,provider"
FINDS = "unit_id,imo_number,found_on,found_by,component,defect,severity,closed_on"
EVERY = "component = '*' and defect = '*' and imo_number = '*' and agent = '*' and space_category = '*'"


FIGURES_HERE = FIGURES[FIGURES.index("observed") : FIGURES.index("corrosion_by_age")]


def write_fleet(units: str, **more: str) -> dict[str, str]:
    """Canonical tables as text: two vessels, the units, and whatever else is given."""
    heads = {"inspection": LOOKS, "service": WORK, "finding": FINDS}
    return {
        "vessel": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron\n{VESSEL_B},Slow Plover",
        "unit": f"{REGISTER}\n{units}",
    } | {name: f"{heads[name]}\n{text}" for name, text in more.items()}


def load(con: duckdb.DuckDBPyConnection, table: contract.Table, text: str) -> None:
    """One canonical table as the warehouse would hold it; an empty cell is null, or the contract's default."""
    types = ", ".join(f"{c.name} {c.sql_type} default {c.default or 'null'}" for c in table.columns)
    con.execute(f"create table record.{table.name} ({types}, file_id varchar default 'f', record_no bigint, line_no bigint)")
    head, *lines = [line.strip().split(",") for line in text.strip().splitlines()] or [[]]
    for number, line in enumerate(lines, 1):
        cells = {name: cell for name, cell in zip(head, line, strict=True) if cell} | {"record_no": number, "line_no": number + 1}
        con.execute(
            f"insert into record.{table.name} ({', '.join(cells)}) values ({', '.join('?' * len(cells))})", [*cells.values()]
        )


@pytest.fixture
def figures():
    """Call with the texts of canonical tables: the figures of this file as of AS_OF, without the road before them."""
    opened = []

    def call(fleet: dict[str, str], as_of: date = AS_OF) -> duckdb.DuckDBPyConnection:
        con = open_scratch()
        opened.append(con)
        con.execute(contract.macros_sql())
        con.execute(files("pipeline.warehouse").joinpath("schema.sql").read_text(encoding="utf-8"))
        for name, table in contract.tables().items():
            load(con, table, fleet.get(name, ""))
        con.execute(files("pipeline.duties").joinpath("macros.sql").read_text(encoding="utf-8"))
        con.execute(files("pipeline.duties").joinpath("stays.sql").read_text(encoding="utf-8"))
        compute_figures(con, as_of, FIGURES_HERE)
        return con

    yield call
    for con in opened:
        con.close()


@pytest.fixture
def served(figures):
    """One unit watched from 1 January to 31 December 2025: 365 days. Serviced by P on 1 March, by Q on 1 September. Its twin of
    another maker is looked at on the first day alone."""
    units = f"""U1,{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,Tarnwick,open_deck
        U2,{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,,open_deck"""
    looks = "\n".join(f"{unit},{VESSEL_A},{day},satisfactory" for unit, day in
                      (("U1", "2025-01-01"), ("U2", "2025-01-01"), ("U1", "2025-12-31")))  # fmt: skip
    work = f"""U1,{VESSEL_A},2025-03-01,annual_service,satisfactory,Pellworth
        U1,{VESSEL_A},2025-09-01,annual_service,satisfactory,Quarnside"""
    finds = f"""U1,{VESSEL_A},2025-02-01,inspection,hose,damaged,minor,2025-02-02
        U1,{VESSEL_A},2025-03-01,service,seal,missing,minor,2025-03-01
        U1,{VESSEL_A},2025-03-02,inspection,pin,missing,minor,
        U1,{VESSEL_A},2025-09-01,service,hose,damaged,minor,2025-09-01
        U1,{VESSEL_A},2025-10-01,inspection,pin,missing,minor,"""
    return figures(write_fleet(units, inspection=looks, service=work, finding=finds))


def test_a_provider_answers_for_the_days_after_its_service_to_the_day_of_the_next(served):
    """1 Jan to 1 Mar: 60 days of not serviced yet (and U2's one day), 2 Mar to 1 Sep: 184, 2 Sep to 31 Dec: 121. The pin is one defect."""
    rows = served.execute(f"""
        select provider, findings, reports, round(unit_years * 365.25)::int, inspections from figure.defect_rate
        where period = 'all' and {EVERY} and maker = '*' order by provider""").fetchall()
    assert rows == [
        ("*", 4, 5, 366, 8), ("Pellworth", 2, 2, 184, 2), ("Quarnside", 0, 1, 121, 2), ("not serviced yet", 2, 2, 61, 4),
    ]  # fmt: skip


def test_makers_add_up_to_the_fleet_and_a_rate_stands_per_100_inspections_too(served):
    rows = served.execute(f"""
        select maker, findings, round(unit_years * 365.25)::int, inspections, per_100_inspections from figure.defect_rate
        where period = 'all' and {EVERY} and provider = '*' order by maker""").fetchall()
    assert rows == [("*", 4, 366, 8, 50.0), ("Tarnwick", 4, 365, 7, pytest.approx(400 / 7)), ("not stated", 0, 1, 1, 0.0)]


def test_one_vessel_has_nothing_to_be_compared_with(served):
    rows = served.execute("select imo_number, verdict, shrunk, rank from figure.defect_vessel where period = 'all'").fetchall()
    assert rows == [("*", "one vessel: nothing to compare", None, None), (VESSEL_A, None, None, None)]


def test_too_few_clusters_give_shares_without_limits(served):
    """Two months with findings on one vessel in the last twelve months would be two clusters."""
    rows = served.execute("""
        select component, defect, findings, share, low, chance_first, clustered_by, clusters, why_not is not null
        from figure.defect_pareto where period = 'all'""").fetchall()
    assert rows[0] == ("hose", "damaged", 2, 0.5, None, None, "vessel months", 3, True) and len(rows) == 3


def make_two_vessels(found_a: int, found_b: int, kinds: str = "hose,damaged") -> dict[str, str]:
    """Two vessels, 20 units each, watched from 1 June 2024; so many findings on each in the last 12 months, half of it before."""
    ships = {VESSEL_A: "A", VESSEL_B: "B"}
    units = "\n".join(
        f"{letter}{n},{imo},powder,portable,6,2020-01-01,2024-01-01,,open_deck"
        for imo, letter in ships.items()
        for n in range(20)
    )
    days = ("2024-05-11", "2026-05-10")
    looks = "\n".join(f"{letter}{n},{imo},{day},satisfactory" for imo, letter in ships.items() for n in range(20) for day in days)
    finds = []
    for (imo, letter), many in zip(ships.items(), (found_a, found_b), strict=True):
        for year, count in ((2025, many), (2024, many // 2)):
            for n in range(count):
                day = date(year, 6 + n // 40, 1 + n // 20)
                finds.append(f"{letter}{n % 20},{imo},{day},inspection,{kinds},minor,{day}")
    return write_fleet(units, inspection=looks, finding="\n".join(finds))


def test_vessels_alike_are_not_ranked(figures):
    con = figures(make_two_vessels(15, 15))
    rows = con.execute("from figure.defect_vessel where period = 'last 12 months' order by imo_number").fetchnumpy()
    assert rows["verdict"][0] == "no evidence that vessels differ" and rows["dispersion_x2"][0] == 0
    assert all(rows["rank"].mask) and list(rows["findings"]) == [30, 15, 15]
    assert rows["per_100_unit_years"][0] == pytest.approx(100 * 30 / (40 * 365 / 365.25))
    # both drawn to the same place, and each less wide than its own limits
    assert rows["shrunk"][1] == pytest.approx(rows["shrunk"][2])
    assert rows["shrunk_high"][1] - rows["shrunk_low"][1] < rows["high"][1] - rows["low"][1]


def test_vessels_that_differ_are_ranked_by_the_chance_of_exceeding_the_fleet(figures):
    """X2 by hand: 10 and 50 against 30 each: 400/30 * 2."""
    con = figures(make_two_vessels(10, 50))
    rows = con.execute("""
        select imo_number, "rank", chance_above, dispersion_x2, verdict, interval_by from figure.defect_vessel
        where period = 'last 12 months' order by imo_number""").fetchall()
    assert rows[0][3:] == (pytest.approx(800 / 30), "vessels differ by more than chance", "quasi-Poisson")
    ranks = {row[0]: row[1:3] for row in rows[1:]}
    assert ranks[VESSEL_A][0] == 2 and ranks[VESSEL_B][0] == 1 and ranks[VESSEL_B][1] > ranks[VESSEL_A][1]


def test_twice_as_many_as_the_year_before_is_more_than_chance_and_a_few_more_is_not(figures):
    con = figures(make_two_vessels(30, 30))
    found = con.execute("from figure.defect_change").fetchall()[0]
    assert (
        found[:1] + found[2:3] == (60, 30) and found[4] == pytest.approx(2, rel=0.01) and found[11] == "more than the year before"
    )
    con = figures(make_two_vessels(6, 6))
    found = con.execute("select findings, findings_before, verdict from figure.defect_change").fetchall()
    assert found == [(12, 6, "can not be told from chance")]


def test_uncoded_defects_are_shown_and_never_ranked(figures):
    fleet = make_two_vessels(40, 40, "hose,other")
    fleet["finding"] += f"\nA1,{VESSEL_A},2025-11-01,inspection,seal,missing,minor,"
    con = figures(fleet)
    rows = con.execute("""
        select component, defect, findings, is_ranked, chance_first, is_first, why_not from figure.defect_pareto
        where period = 'all'""").fetchall()
    assert rows[0][:5] == ("hose", "other", 120, False, None) and rows[1][:4] == ("seal", "missing", 1, True)
    assert not rows[0][5]


def test_a_fleet_without_findings_has_no_rows_to_mislead(figures):
    units = f"U1,{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,,open_deck"
    con = figures(write_fleet(units, inspection=f"U1,{VESSEL_A},2025-06-01,satisfactory\nU1,{VESSEL_A},2026-01-01,satisfactory"))
    for table in ("defect_pareto", "defect_closing", "defect_repeat", "service_failure", "defect_change"):
        assert con.execute(f"select count(*) from figure.{table}").fetchone() == (0,), table
    assert con.execute("select verdict, findings, low from figure.defect_vessel where imo_number = '*' order by 1").fetchall() == [
        ("one vessel: nothing to compare", 0, 0.0)] * 2  # fmt: skip


def test_an_empty_fleet_breaks_nothing(figures):
    con = figures({"vessel": "imo_number,vessel_name", "unit": REGISTER})
    for table in ("defect_rate", "defect_vessel", "defect_pareto", "defect_closing", "service_failure", "defect_change"):
        assert con.execute(f"select count(*) from figure.{table}").fetchone() == (0,), table


LASTING = f"""U1,{VESSEL_A},2025-03-01,inspection,hose,damaged,minor,2025-03-05
    U1,{VESSEL_A},2025-06-01,inspection,hose,damaged,major,2025-06-03
    U1,{VESSEL_A},2025-07-01,inspection,pin,missing,minor,
    U1,{VESSEL_A},2025-08-01,inspection,pin,missing,unfit,2025-08-02"""


def test_a_defect_lasts_until_all_reports_of_it_are_closed_and_is_as_bad_as_the_worst(figures):
    units = f"U1,{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,,open_deck"
    con = figures(write_fleet(units, inspection=f"U1,{VESSEL_A},2025-01-01,satisfactory", finding=LASTING))
    rows = con.execute("select component, found_on, severity, closed_on from figure.defect_lasting order by found_on").fetchall()
    assert rows == [
        ("hose", date(2025, 3, 1), "minor", date(2025, 3, 5)),
        ("hose", date(2025, 6, 1), "major", date(2025, 6, 3)),
        ("pin", date(2025, 7, 1), "unfit", None),
    ]
    assert con.execute("select component, findings, repeats, share from figure.defect_repeat where period = 'all'").fetchall() == [
        ("*", 3, 1, None), ("hose", 2, 1, None), ("pin", 1, 0, None)]  # fmt: skip
    counts = con.execute("""select defects, closed, closed_same_day, still_open, median_days, why_not from figure.defect_closing
        where period = 'all' and severity = '*' and imo_number = '*'""").fetchall()  # fmt: skip
    assert counts == [(3, 2, 0, 1, None, "fewer than 10 defects")]


def test_time_to_close_counts_those_still_open_as_lasting_longer(figures):
    """Ten units, one hose each, found on 1 Jan 2026: closed after 1, 2 .. 6 days, four still open at day 129. By hand: S falls by a
    tenth a day to .4 on day 6, so half are closed by day 5, and nine in ten are not yet."""
    units = "\n".join(f"U{n},{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,,open_deck" for n in range(10))
    looks = "\n".join(f"U{n},{VESSEL_A},2025-12-01,satisfactory" for n in range(10))
    finds = "\n".join(
        f"U{n},{VESSEL_A},2026-01-01,inspection,hose,damaged,minor,{f'2026-01-0{n + 2}' if n < 6 else ''}" for n in range(10)
    )
    con = figures(write_fleet(units, inspection=looks, finding=finds))
    rows = con.execute("""select defects, closed, still_open, median_days, median_low, p90_days, why_not from figure.defect_closing
        where period = 'last 12 months' and severity = 'minor'""").fetchall()  # fmt: skip
    assert rows == [(10, 6, 4, 5.0, None, None, "more than one in ten last longer than the records can tell")]


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", (1, 0, 0)),  # nobody looked again
        ("look 2025-04-01 satisfactory", (1, 1, 0)),
        ("look 2025-03-31 satisfactory; find 2025-04-01 minor", (1, 1, 0)),
        ("find 2025-03-02 major", (1, 1, 1)),
        ("find 2025-03-01 major", (1, 0, 0)),  # on the day: found by the service
        ("find 2025-05-30 unfit", (1, 1, 1)),  # day 90
        ("find 2025-05-31 unfit", (1, 0, 0)),  # day 91
        ("find 2025-02-01 minor; find 2025-04-01 major", (1, 1, 0)),  # known at the service, and open
        ("find 2025-02-01 minor 2025-02-20; find 2025-04-01 major", (1, 1, 1)),  # put right before it
        ("find 2025-04-01 minor; find 2025-04-09 major", (1, 1, 1)),  # new since, then worse
        ("look 2025-04-01 unsatisfactory", (1, 1, 1)),
        ("find 2025-02-01 minor; look 2025-04-01 unsatisfactory", (1, 1, 0)),  # a defect known at the service explains it
        ("look 2025-04-01 not_found", (1, 0, 0)),  # no look
        ("work 2025-04-01 satisfactory; find 2025-04-02 major", (2, 2, 1)),  # the later service answers for it
        ("work 2025-04-01 unsatisfactory; find 2025-04-02 major", (1, 1, 0)),  # no service that passed the unit answers
    ],
)
def test_a_unit_fails_soon_after_service(figures, more, expected):
    """Serviced well on 1 March 2025: services, followed, failed."""
    looks, finds, work = (
        [f"U1,{VESSEL_A},2025-01-01,satisfactory"],
        [],
        [f"U1,{VESSEL_A},2025-03-01,annual_service,satisfactory,P"],
    )
    for what in filter(None, more.split("; ")):
        kind, day, word, *closed = what.split()
        if kind == "look":
            looks.append(f"U1,{VESSEL_A},{day},{word}")
        elif kind == "find":
            finds.append(f"U1,{VESSEL_A},{day},inspection,hose,damaged,{word},{closed[0] if closed else ''}")
        else:
            work.append(f"U1,{VESSEL_A},{day},annual_service,{word},P")
    units = f"U1,{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,,open_deck"
    con = figures(write_fleet(units, inspection="\n".join(looks), service="\n".join(work), finding="\n".join(finds)))
    row = con.execute("select services, followed, failed from figure.service_failure where period = 'all' and provider = 'P'")
    assert row.fetchall() == [expected]


def test_a_service_of_less_than_90_days_ago_is_not_judged_yet(figures):
    units = f"U1,{VESSEL_A},powder,portable,6,2020-01-01,2025-01-01,,open_deck"
    work = f"U1,{VESSEL_A},2026-02-09,annual_service,satisfactory,P\nU1,{VESSEL_A},2025-02-09,annual_service,satisfactory,P"
    con = figures(write_fleet(units, service=work))
    row = "select services from figure.service_failure where period = 'all' and provider = '*'"
    assert con.execute(row).fetchall() == [(2,)]  # 9 February 2026 is 90 days before 10 May
    con = figures(write_fleet(units, service=work.replace("02-09", "02-10")))
    assert con.execute(row).fetchall() == [(1,)]


def make_services(failed: dict[str, int]) -> dict[str, str]:
    """Each provider services 100 units, 20 in each of five months, and so many of them fail within a month, spread over the months
    nearly evenly."""
    units, looks, work, finds = [], [], [], []
    for provider, bad in failed.items():
        for n in range(100):
            unit, month = f"{provider}{n}", 2 + n // 20
            units.append(f"{unit},{VESSEL_A},powder,portable,6,2020-01-01,2024-01-01,,open_deck")
            work.append(f"{unit},{VESSEL_A},2025-0{month}-01,annual_service,satisfactory,{provider}")
            looks.append(f"{unit},{VESSEL_A},2025-0{month}-20,satisfactory")
            if n * 37 % 100 < bad:
                finds.append(f"{unit},{VESSEL_A},2025-0{month}-20,inspection,hose,damaged,major,")
    return write_fleet("\n".join(units), inspection="\n".join(looks), service="\n".join(work), finding="\n".join(finds))


def test_providers_are_told_apart_only_where_the_interval_of_the_difference_leaves_out_none(figures):
    rows = figures(make_services({"P": 5, "Q": 8})).execute(
        "select provider, followed, failed, per_100, clusters, verdict from figure.service_failure where period = 'all' order by 1"
    )
    assert rows.fetchall() == [
        ("*", 200, 13, 6.5, 10, None), ("P", 100, 5, 5.0, 5, "can not be told apart"), ("Q", 100, 8, 8.0, 5, "can not be told apart"),
    ]  # fmt: skip
    rows = (
        figures(make_services({"P": 5, "Q": 25}))
        .execute(
            "select provider, difference, difference_low, verdict from figure.service_failure where period = 'all' order by 1"
        )
        .fetchall()
    )
    assert rows[1][1] == -20 and rows[1][3] == "fails less often" and rows[2][2] > 0 and rows[2][3] == "fails more often"
