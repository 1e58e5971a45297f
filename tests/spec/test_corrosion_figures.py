"""Corrosion by age, worked by hand: what is a clean look, what confirms a finding, and what stands in the tables.

In: a few records. Out: rows of figure.corrosion_history, rust_grade_change, wall_loss, pit_depth and corrosion_onset.
"""

from datetime import date
from pathlib import Path

import pytest

from tests.property.canonical import Fleet, complete_imo_number
from tests.property.pipeline_door import query, run_fleet

SHIP = complete_imo_number(990001)
AS_OF = date(2026, 6, 30)
MADE = date(2016, 1, 1)
BEGAN = {"unit_id": "other", "imo_number": SHIP, "inspected_on": date(2019, 1, 1), "outcome": "satisfactory"}


def stay(unit_id: str = "u", **more) -> dict:
    return {"unit_id": unit_id, "imo_number": SHIP, "agent": "foam", "form": "portable", "charge_l": 9, "made_on": MADE,
            "in_service_on": MADE, "wall_mm": 2.0, "wall_min_mm": 1.2, **more}  # fmt: skip


def serve(year: int, unit_id: str = "u", **more) -> dict:
    return {
        "unit_id": unit_id,
        "imo_number": SHIP,
        "serviced_on": date(year, 1, 1),
        "kind": "annual_service",
        "outcome": "satisfactory",
        **more,
    }


def find(year: int, grade: str | None = None, severity: str | None = "minor", unit_id: str = "u", **more) -> dict:
    return {"unit_id": unit_id, "imo_number": SHIP, "found_on": date(year, 1, 1), "component": "shell", "defect": "corrosion",
            "rust_grade": grade, "severity": severity, **more}  # fmt: skip


def run_case(
    folder: Path, units: list[dict], services: list[dict], findings: list[dict] = (), looks: list[dict] = (BEGAN,)
) -> Path:
    other = stay("other")
    fleet = Fleet(AS_OF, [{"imo_number": SHIP}], [*units, other], list(looks), service=list(services), finding=list(findings))
    return run_fleet(fleet, folder)


def read_history(db: Path, unit_id: str = "u") -> tuple:
    rows = query(db, "SELECT is_first_clean, first_look_age, clean_age, found_age, confirmed_by, raw_found_age, why_not "
                     "FROM figure.corrosion_history WHERE unit_id = ?", [unit_id])  # fmt: skip
    return tuple(round(v, 1) if isinstance(v, float) else v for v in rows[0])


BEGINNINGS = [
    ([], (True, 4, 8, None, None, None, None)),
    ([find(2022, "Ri3")], (True, 4, 5, 6, "graded moderate or worse", 6, None)),
    ([find(2022, None, "major")], (True, 4, 5, 6, "graded moderate or worse", 6, None)),
    # light once and clean after it: not confirmed, and the look itself is no clean one
    ([find(2022, "Ri1")], (True, 4, 8, None, None, 6, None)),
    ([find(2024, "Ri1")], (True, 4, 7, None, None, 8, None)),
    # light at two looks running: begun before the first of the two
    ([find(2022, "Ri2"), find(2023, "Ri1")], (True, 4, 5, 6, "light at two looks running", 6, None)),
    # light, clean, then moderate: the look between was clean
    ([find(2021, "Ri1"), find(2023, "Ri3")], (True, 4, 6, 7, "graded moderate or worse", 5, None)),
    # at the first look
    ([find(2020, "Ri4")], (False, 4, None, 4, "graded moderate or worse", 4, None)),
    # the bracket is not the extinguisher, nor is a dent corrosion
    ([find(2022, "Ri5", component="bracket"), find(2023, None, "major", defect="dent")], (True, 4, 8, None, None, None, None)),
]  # fmt: skip


@pytest.fixture(scope="module")
def begun(tmp_path_factory) -> Path:
    """A unit a case on one vessel, made on 1 January 2016, serviced each New Year's Day from 2020 to 2024: ages 4 to 8."""
    units = [f"u{number}" for number in range(len(BEGINNINGS))]
    findings = [found | {"unit_id": unit} for unit, (told, _) in zip(units, BEGINNINGS, strict=True) for found in told]
    services = [serve(year, unit) for unit in units for year in range(2020, 2025)]
    return run_case(tmp_path_factory.mktemp("begun"), [stay(unit) for unit in units], services, findings)


@pytest.mark.parametrize("number", range(len(BEGINNINGS)))
def test_between_which_ages_it_began(begun, number):
    assert read_history(begun, f"u{number}") == BEGINNINGS[number][1]


def test_condemned_with_light_corrosion_is_a_finding_and_without_it_none(tmp_path):
    condemned = {"kind": "condemn", "outcome": "unsatisfactory"}
    services = [serve(2020, "a"), serve(2021, "a", **condemned), serve(2020, "b"), serve(2021, "b", **condemned)]
    db = run_case(tmp_path, [stay("a"), stay("b")], services, [find(2021, "Ri1", unit_id="a")])
    assert read_history(db, "a")[3:5] == (5, "condemned with corrosion")
    assert read_history(db, "b")[2:4] == (5, None)


def test_services_before_findings_were_recorded_are_no_clean_looks(tmp_path):
    """The vessel's checks and findings begin in 2019; a service of 2017 can't have left a finding here."""
    db = run_case(tmp_path, [stay()], [serve(2017), serve(2021)])
    assert read_history(db)[1:3] == (5, 5)


def test_a_monthly_check_that_reports_none_is_no_clean_look_but_one_that_does_is_a_finding(tmp_path):
    checks = [
        {"unit_id": unit, "imo_number": SHIP, "inspected_on": date(2023, 6, 1), "outcome": "satisfactory"} for unit in ("a", "b")
    ]
    finding = find(2023, "Ri3", unit_id="b") | {"found_on": date(2023, 6, 1), "found_by": "inspection"}
    db = run_case(tmp_path, [stay("a"), stay("b")], [serve(2020, "a"), serve(2020, "b")], [finding], [BEGAN, *checks])
    assert read_history(db, "a")[2:4] == (4, None)
    assert read_history(db, "b")[2:4] == (4, 7.4)


def test_units_that_tell_nothing_are_counted_apart(tmp_path):
    units = [stay("new", made_on=None), stay("unseen"), stay("early", made_on=date(2022, 1, 1))]
    db = run_case(tmp_path, units, [serve(2020, "new"), serve(2022, "early")])
    said = dict(query(db, "SELECT unit_id, why_not FROM figure.corrosion_history"))
    assert said["new"] == "no date of manufacture" and said["unseen"].startswith("no service")
    assert said["early"] == said["unseen"], "a look on the day of manufacture tells nothing of age"
    units = query(db, "SELECT max(units) FROM figure.corrosion_model WHERE term = 'units'")
    assert units == [(0,)], "none of them stands in a curve"
    assert query(db, "SELECT count(*) FROM figure.corrosion_onset") == [(0,)]
    assert query(db, "SELECT DISTINCT why_not FROM figure.corrosion_model WHERE term = 'shape' AND dimension = 'all' AND method <> 'first clean, errors of looks allowed for'") == [("0 onsets seen; 10 are needed",)]  # fmt: skip


def test_steps_of_the_rust_grade(tmp_path):
    """Ri1 in 2020, Ri2 in 2022, Ri2 in 2024, Ri1 in 2025: one rise in 731 days at Ri1; at Ri2 one stay and one fall."""
    findings = [find(2020, "Ri1"), find(2022, "Ri2"), find(2024, "Ri2"), find(2025, "Ri1")]
    db = run_case(tmp_path, [stay()], [], findings)
    rows = query(db, "SELECT from_grade, to_grade, kind, pairs, unit_years, per_100_unit_years FROM figure.rust_grade_change")
    years, more = 731 / 365.25, (730 + 366) / 365.25
    assert [row[:4] for row in rows] == [("Ri1", "Ri2", "worse", 1), ("Ri2", "Ri1", "better", 1), ("Ri2", "Ri2", "same", 1)]
    assert [row[4] for row in rows] == pytest.approx([years, more, more])
    assert rows[0][5] == pytest.approx(100 / years) and rows[1][5] is None


def test_wall_loss_by_two_readings(tmp_path):
    """2.00 mm in 2020 and 1.80 mm in 2025: .04 mm a year; a gain of another stays a gain; one reading alone is none."""
    services = [serve(2020, wall_mm_measured=2.0), serve(2025, wall_mm_measured=1.8), serve(2020, "v", wall_mm_measured=1.8),
                serve(2025, "v", wall_mm_measured=1.9), serve(2020, "w", wall_mm_measured=1.8)]  # fmt: skip
    db = run_case(tmp_path, [stay(), stay("v", wall_min_mm=None), stay("w")], services)
    rows = {row[0]: row[1:] for row in query(db, "SELECT unit_id, readings, mm_per_year, low, high, shrunk_high, years_left, why_not, gauge_error_mm FROM figure.wall_loss")}  # fmt: skip
    assert set(rows) == {"u", "v"}
    years = 1827 / 365.25
    readings, rate, low, high, highest, left, why, gauge = rows["u"]
    assert (readings, gauge) == (2, 0.1) and rate == pytest.approx(0.2 / years, abs=1e-6) and why is None
    assert (low, high) == pytest.approx((rate - 1.96 * 0.1 * 2**0.5 / years, rate + 1.96 * 0.1 * 2**0.5 / years), abs=1e-4)
    assert left == pytest.approx((1.8 - 1.2) / highest - (AS_OF - date(2025, 1, 1)).days / 365.25, rel=1e-4)
    assert rows["v"][1] == pytest.approx(-0.1 / years, abs=1e-6) and rows["v"][5] is None and "maker" in rows["v"][6]


def test_years_left_start_from_the_lower_of_line_and_last_reading(tmp_path):
    """Three readings each, five years apart. 2.0, 1.9, 1.6 mm: the line ends at 1.633, the reading is lower. 2.0, 1.6, 1.5: the line
    ends at 1.45 and is lower (by hand: mean 1.8333 - .2, 1.7 - .25). Both lines and both starts stand in the figure."""
    courses = {"u": (2.0, 1.9, 1.6), "v": (2.0, 1.6, 1.5)}
    services = [serve(2010 + 5 * n, unit, wall_mm_measured=mm) for unit, course in courses.items() for n, mm in enumerate(course)]
    db = run_case(tmp_path, [stay(made_on=date(2005, 1, 1)), stay("v", made_on=date(2005, 1, 1))], services)
    rows = query(db, "SELECT unit_id, last_mm, fitted_mm, shrunk_high, years_left FROM figure.wall_loss ORDER BY 1")
    since = (AS_OF - date(2020, 1, 1)).days / 365.25
    for (_, last, fitted, highest, left), start, line in zip(rows, (1.6, 1.45), (1.6333, 1.45), strict=True):
        assert fitted == pytest.approx(line, abs=2e-4)
        assert left == pytest.approx((start - 1.2) / highest - since, abs=0.01)
        assert left <= min((value - 1.2) / highest for value in (last, fitted)) - since + 1e-4


def test_pits_are_listed_below_twenty(tmp_path):
    findings = [
        find(2020, "Ri4", pit_depth_mm=0.4),
        find(2022, "Ri4", pit_depth_mm=0.7),
        find(2022, "Ri4", unit_id="other", pit_depth_mm=0.3),
    ]
    db = run_case(tmp_path, [stay()], [], findings)
    assert query(db, "SELECT unit_id, pit_depth_mm FROM figure.pit_reading ORDER BY 1") == [("other", 0.3), ("u", 0.7)]
    rows = query(db, "SELECT shell_material, units, deepest_mm, one_in_100_mm, why_not FROM figure.pit_depth")
    assert rows[0] == ("*", 2, 0.7, None, "2 units with a pit; 20 are needed")


def test_shares_by_age_are_smoothed_to_never_fall(tmp_path):
    """Ten units of 6 years with 4 corroded, ten of 11 years with 2: both pool to 6 of 20; one unit of 16 years is not rated."""
    units = [stay(f"a{n}", made_on=date(2020, 1, 1), in_service_on=date(2020, 1, 1)) for n in range(10)]
    units += [stay(f"b{n}", made_on=date(2015, 1, 1)) for n in range(9)] + [stay("c", made_on=date(2010, 1, 1))]
    findings = [find(2022, "Ri3", unit_id=f"a{n}") for n in range(4)] + [find(2022, "Ri3", unit_id=f"b{n}") for n in range(2)]
    services = [serve(2022, unit["unit_id"]) for unit in units]
    db = run_case(tmp_path, units, services, findings)
    rows = query(db, "SELECT age_band_years, units, units_corroded, share_smooth FROM figure.corrosion_by_age "
                     "WHERE agent = '*' AND lining = '*' AND space_category = '*' ORDER BY 1")  # fmt: skip
    assert {row[0]: row[1:3] for row in rows} == {"5–9": (10, 4), "10–14": (10, 2), "15–19": (1, 0)}
    assert {row[0]: row[3] for row in rows} == {"5–9": pytest.approx(0.3), "10–14": pytest.approx(0.3), "15–19": None}
