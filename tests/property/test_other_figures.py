"""The figures beside lateness against day-by-day references, on small random fleets with findings and spares.

In: seeds (more of them under `slow`). Out: every row of figure.duty_now, due_ahead, unit_now, agent_mix, freshness,
defect_rate and corrosion_by_age must equal the reference, floats to 1e-9; parts must fit wholes; hand-worked cases.
"""

from collections import defaultdict
from datetime import date
from pathlib import Path

import pytest

from tests.property import figures_door as door
from tests.property import reference_defects, reference_figures
from tests.property.canonical import Fleet, complete_imo_number, write_split
from tests.property.pipeline_door import assert_all_loaded, query, run_fleet, run_pipeline
from tests.property.random_findings import make_full_batch
from tests.property.test_lateness import list_figure_columns, read_sorted

FLEETS_PER_BATCH = 4
SEEDS = [
    *range(2),
    *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 8)),
    *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(100, 140)),
]
SAME_ROWS = {
    "duty_now": (reference_figures.list_duties_now, door.read_duties_now),
    "due_ahead": (reference_figures.count_due_ahead, door.read_due_ahead),
    "unit_now": (reference_figures.list_units_now, door.read_units_now),
    "agent_mix": (reference_figures.mix_agents, door.read_mix),
    "freshness": (reference_figures.date_last_records, door.read_freshness),
    "defect_rate": (reference_defects.rate_defects, door.read_defect_rates),
    "corrosion_by_age": (reference_defects.share_corroded, door.read_corrosion),
}
SHIP = complete_imo_number(990001)
STAY = {"unit_id": "u", "imo_number": SHIP, "agent": "foam", "form": "portable", "charge_l": 9,
        "made_on": date(2021, 5, 10), "in_service_on": date(2024, 1, 1)}  # fmt: skip
LOOK = {"unit_id": "u", "imo_number": SHIP, "outcome": "satisfactory"}
FINDING = {"unit_id": "u", "imo_number": SHIP, "component": "hose", "defect": "damaged", "closed_on": None}


@pytest.fixture(scope="module", params=SEEDS)
def batch(request, tmp_path_factory) -> tuple[Fleet, Path]:
    """A fleet and the database made of it."""
    fleet = make_full_batch(request.param, FLEETS_PER_BATCH)
    return fleet, run_fleet(fleet, tmp_path_factory.mktemp("batch"))


@pytest.mark.parametrize("figure", SAME_ROWS)
def test_figure_equals_the_reference(batch, figure):
    fleet, db = batch
    refer, read = SAME_ROWS[figure]
    expected = refer(fleet)
    assert expected, "the seed gives no row to compare"
    differences = door.list_differences(expected, read(db))
    assert not differences, "\n".join([f"figure.{figure} as of {fleet.as_of}, exports beside {db}", *differences])


def test_spares_of_agents_aboard_equal_the_reference(batch):
    fleet, db = batch
    aboard = {(imo_number, agent) for imo_number, agent, _, _ in reference_figures.mix_agents(fleet)}
    held = reference_figures.count_spares(fleet)
    expected = {key: held.get(key, (None,)) for key in aboard}
    found = {key: row for key, row in door.read_spares(db).items() if key in aboard}
    assert not door.list_differences(expected, found)


# key places of defect_rate: 0 period, 1 vessel, 2 component, 3 defect, 4 agent, 5 space; its columns, by place: 0 findings,
# 1 unit_years, 6 reports, 8 closed. Rows of a kind of defect have the exposure of all kinds, which does not add up.
@pytest.mark.parametrize("place", [1, 4, 5], ids=["vessel", "agent", "space"])
def test_findings_and_exposure_add_up_to_the_fleet(batch, place):
    rates = pick_rows(door.read_defect_rates(batch[1]), {place}, set())
    assert_parts_fit(rates, place, columns=(0, 1, 6, 8))


@pytest.mark.parametrize(("place", "split"), [(2, {2}), (3, {3}), (2, {2, 3}), (1, {1, 2, 3})])
def test_kinds_of_defect_add_up_to_all_findings(batch, place, split):
    """Components to all, defects to all, components with one defect to that defect, vessels to the fleet's kind."""
    rates = {key: row for key, row in door.read_defect_rates(batch[1]).items() if row[6]}
    assert_parts_fit(pick_rows(rates, split, split - {place}), place, columns=(0, 6, 8))


def test_what_falls_due_adds_up_to_the_fleet(batch):
    assert_parts_fit(door.read_due_ahead(batch[1]), 0, columns=(0,))


@pytest.mark.parametrize("place", [1, 2, 3], ids=["agent", "lining", "space"])
def test_kinds_add_up_to_the_age_band(batch, place):
    rows = pick_rows(door.read_corrosion(batch[1]), {place}, set())
    assert_parts_fit(rows, place, columns=(0, 1, *range(5, 11)))
    assert all(sum(row[5:]) == row[1] <= row[0] for row in rows.values())


def pick_rows(rows: door.Rows, *splits: set[int]) -> door.Rows:
    """The rows whose key has a word, not '*', in just the places of one of these sets (place 0 always has one)."""
    return {key: row for key, row in rows.items() if {n for n, word in enumerate(key) if n and word != "*"} in splits}


def assert_parts_fit(rows: door.Rows, place: int, columns: tuple[int, ...]) -> None:
    """Rows with '*' at this place of the key are the sums of those with a word there."""
    parts: dict[object, list[tuple[object, ...]]] = defaultdict(list)
    wholes = {}
    for key, row in rows.items():
        picked = tuple(row[column] for column in columns)
        if key[place] == "*":
            wholes[key] = picked
        else:
            parts[(*key[:place], "*", *key[place + 1 :])].append(picked)
    added = {key: door.add_rows(found) for key, found in parts.items()}
    wholes = {key: row for key, row in wholes.items() if key in added or any(row)}
    assert wholes and not door.list_differences(added, wholes)


def test_unit_counts_equal_the_last_row_of_lateness(batch):
    fleet, db = batch
    last = "FROM figure.overdue_monthly WHERE month_end = ? AND duty = '*' AND imo_number <> '*' AND units > 0"
    counted = dict(query(db, f"SELECT imo_number, units {last}", [fleet.as_of]))
    assert counted
    in_service = "SELECT imo_number, count(DISTINCT unit_id) FROM figure.unit_now WHERE counted = 'in service' GROUP BY ALL"
    assert dict(query(db, in_service)) == counted
    assert dict(query(db, "SELECT imo_number, sum(units)::int FROM figure.agent_mix WHERE units > 0 GROUP BY ALL")) == counted
    assert dict(query(db, "SELECT imo_number, count(DISTINCT unit_id) FROM figure.duty_now"
                          " WHERE NOT is_group GROUP BY ALL")) == counted  # fmt: skip


@pytest.mark.parametrize(
    "seed",
    [pytest.param(3, marks=pytest.mark.slow), pytest.param(4, marks=pytest.mark.slow), pytest.param(5, marks=pytest.mark.slow)],
)
def test_row_order_and_file_split_change_no_figure(all_figures, seed, tmp_path):
    fleet = make_full_batch(seed, FLEETS_PER_BATCH)
    whole = run_fleet(fleet, tmp_path / "whole")
    write_split(tmp_path / "split" / "exports", fleet, seed)
    split = run_pipeline(tmp_path / "split" / "exports", tmp_path / "split", fleet.as_of)
    assert_all_loaded(split, fleet.count_rows())
    for table, columns in list_figure_columns(whole).items():
        assert read_sorted(whole, table, columns) == read_sorted(split, table, columns), f"figure.{table} differs"


def test_generated_rows_reach_the_edges():
    """Each trait the comparison is meant to try occurs in the seeded batches of the default run."""
    fleets = [make_full_batch(seed, FLEETS_PER_BATCH) for seed in range(8)]
    findings = [row for fleet in fleets for row in fleet.finding]
    reports = [report for fleet in fleets for report, _ in reference_defects.list_reports(fleet)]
    rates = [row for fleet in fleets for row in reference_defects.rate_defects(fleet).values()]
    spares = [held for fleet in fleets for (held,) in reference_figures.count_spares(fleet).values()]
    traits = {
        "told again while open": sum(not report.is_new for report in reports),
        "told again when closed": sum(report.is_repeat for report in reports),
        "not counted": sum(
            reference_defects.find_stay_reported_on(fleet, reference_defects.find_first_looks(fleet), row) is None
            for fleet in fleets
            for row in fleet.finding
        ),
        "after the day": sum(row["found_on"] > fleet.as_of for fleet in fleets for row in fleet.finding),
        "closed on the day": sum(row["closed_on"] == fleet.as_of for fleet in fleets for row in fleet.finding),
        "closed at once": sum(row["closed_on"] == row["found_on"] for row in findings),
        "Ri0": sum(row["rust_grade"] == "Ri0" for row in findings),
        "one short of a rate": sum(row.findings == 9 for row in rates),
        "just a rate": sum(row.findings == 10 for row in rates),
        "reports of nothing new": sum(row.reports > row.findings == 0 for row in rates),
        "none found": sum(row.findings == 0 < row.unit_years for row in rates),
        "no number of spares": sum(held is None for held in spares),
        "no spares": sum(held == 0 for held in spares),
        "no agent": sum(row["agent"] is None for fleet in fleets for row in fleet.unit),
        "obsolete": sum(row.obsolete_units for fleet in fleets for row in reference_figures.mix_agents(fleet).values()),
    }
    assert not [trait for trait, count in traits.items() if count < 3], traits


def run_case(folder: Path, as_of: date, units: list[dict], looks: list[date], **more: list[dict]) -> Path:
    inspections = [LOOK | {"inspected_on": day} for day in looks]
    return run_fleet(Fleet(as_of, [{"imo_number": SHIP}], units, inspections, **more), folder)


def test_overlapping_stays_are_watched_and_charged_once(tmp_path):
    """31 days of January, one charge of 9 l, though the register has the unit aboard twice from the 11th."""
    stays = [STAY, STAY | {"in_service_on": date(2024, 1, 11), "agent_detail": "AFFF"}]
    db = run_case(tmp_path, date(2024, 1, 31), stays, [date(2024, 1, 1), date(2024, 1, 31)])
    assert query(db, "SELECT units, total_charge_l, agent_detail FROM figure.agent_mix") == [(1, 9.0, "AFFF")]
    assert door.read_defect_rates(db)["all", "*", "*", "*", "*", "*"][1] == pytest.approx(31 / 365.25, abs=1e-12)


def test_a_year_without_a_finding_is_a_year_of_none(tmp_path):
    """Watched from 1 January 2024 to 30 June 2026; the one finding is of 2026."""
    finding = [FINDING | {"found_on": date(2026, 6, 30)}]
    db = run_case(tmp_path, date(2026, 6, 30), [STAY], [date(2024, 1, 1), date(2026, 6, 30)], finding=finding)
    years = query(db, "SELECT period, findings, unit_years * 365.25 FROM figure.defect_rate WHERE period LIKE '2%'"
                      " AND (imo_number, component, defect, agent, space_category) = ('*', '*', '*', '*', '*')"
                      " AND (maker, provider) = ('*', '*') ORDER BY period")  # fmt: skip
    assert years == [("2024", 0, pytest.approx(366)), ("2025", 0, pytest.approx(365)), ("2026", 1, pytest.approx(181))]


def test_nothing_is_under_observation_before_the_vessels_first_look(tmp_path):
    """Aboard since 1 January 2024, but the vessel's records begin on 10 January: 22 days to the 31st."""
    db = run_case(tmp_path, date(2024, 1, 31), [STAY], [date(2024, 1, 10), date(2024, 1, 31)])
    assert door.read_defect_rates(db)["all", "*", "*", "*", "*", "*"][1] == pytest.approx(22 / 365.25, abs=1e-12)


@pytest.mark.parametrize(("as_of", "band"), [(date(2026, 5, 9), "0–4"), (date(2026, 5, 10), "5–9")])
def test_a_unit_is_five_on_its_fifth_birthday(tmp_path, as_of, band):
    """Made on 10 May 2021; five years with one 29 February are 1826 days, less than 5 x 365.25."""
    db = run_case(tmp_path, as_of, [STAY], [date(2026, 5, 1)])
    assert query(db, "SELECT DISTINCT age_band_years FROM figure.corrosion_by_age") == [(band,)]


def test_no_count_of_spares_is_lost(tmp_path):
    """Seven powder charges aboard a vessel whose one unit is foam, counted after its last inspection; a later count of
    foam is of after the day. Freshness is of 'its last record, of any kind' (header of figure.freshness)."""
    counts = [("powder", date(2024, 3, 20), 7), ("foam", date(2024, 4, 1), 2)]
    spares = [
        {"imo_number": SHIP, "counted_on": day, "agent": agent, "charge_l": 9, "spare_charges": held}
        for agent, day, held in counts
    ]
    db = run_case(tmp_path, date(2024, 3, 31), [STAY], [date(2024, 2, 1)], spare=spares)
    assert (door.read_spares(db), door.read_freshness(db)) == (
        {(SHIP, "foam"): (None,), (SHIP, "powder"): (7,)},
        {(SHIP,): (date(2024, 3, 20), 11)},
    )
