"""The simulator keeps its promises. In: seeds. Out: pass or fail."""

from __future__ import annotations

import csv
import datetime
import tomllib
from pathlib import Path

import numpy as np
import pytest

from tests.simulator.calendar_days import add_months, count_day
from tests.simulator.draws import Draws
from tests.simulator.fleet import make_imo_number
from tests.simulator.lateness import count_overdue, list_done
from tests.simulator.parameters import PROVIDERS, SPACES, Truth
from tests.simulator.sample_fleet import FLEET
from tests.simulator.sample_sheets import group_tables
from tests.simulator.sheets import Record, Row, Sheet, count_rows
from tests.simulator.styles import FACTORS, convert
from tests.simulator.write_canonical import reveal_services, reveal_units, write_canonical
from tests.simulator.write_sample import write_sample

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_exports"
CONTRACT = ROOT / "pipeline" / "contract"
EVENTS = {"inspection": "inspected_on", "service": "serviced_on", "finding": "found_on"}


def read_csv(path: Path) -> list[dict[str, str]]:
    """Rows of a canonical CSV."""
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def read_files(folder: Path) -> dict[str, bytes]:
    """Every file of a folder by relative path."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """A fresh sample and its truth."""
    folder = tmp_path_factory.mktemp("sample")
    return folder, write_sample(folder)


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """Three vessels, four years, as canonical files, and the truth."""
    folder = tmp_path_factory.mktemp("fleet")
    return folder, write_canonical(folder, vessels=3, years=4, units=40, seed=11)


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    """Forty vessels, eight years: enough to see the true parameters (seed 5)."""
    return write_canonical(tmp_path_factory.mktemp("many"), vessels=40, years=8, units=60, seed=5, split="year")


def test_committed_sample_is_a_fresh_one(sample):
    fresh, kept = read_files(sample[0]), read_files(SAMPLE)
    assert sorted(fresh) == sorted(kept)
    assert [path for path in fresh if fresh[path] != kept[path]] == []


def test_same_seed_same_bytes_other_seed_other_bytes(tmp_path):
    for name, seed in (("one", 3), ("two", 3), ("three", 4)):
        write_canonical(tmp_path / name, vessels=2, years=2, units=12, seed=seed)
    assert read_files(tmp_path / "one") == read_files(tmp_path / "two")
    assert read_files(tmp_path / "one") != read_files(tmp_path / "three")


def test_uniform_draws_keep_their_numbers():
    # the raw PCG64 stream is promised by numpy; these three were drawn once (numpy 2.4.6) and must never change
    assert Draws(20, 1).uniform(3).tolist() == [0.39977706855710016, 0.7058946868266824, 0.9858087634742914]


def test_check_digits():
    # 9074729: the worked example of IMO numbers in many public texts (9*7+0*6+7*5+4*4+7*3+2*2 = 139), from memory
    assert make_imo_number(907472) == "9074729"
    numbers = {vessel.imo_number for vessel in FLEET}
    assert len(numbers) == 6
    for number in numbers:
        assert sum(int(d) * w for d, w in zip(number, (7, 6, 5, 4, 3, 2), strict=False)) % 10 == int(number[6])


def test_sample_counts_add_up(sample):
    folder, _ = sample
    totals = {row["path"]: [int(v) for k, v in row.items() if k != "path"] for row in read_csv(folder / "expected_counts.csv")}
    assert all(read == loaded + bad + again for read, loaded, bad, again in totals.values())
    assert 40 <= sum(t[2] for t in totals.values()) <= 80
    by_rule = read_csv(folder / "expected_quarantine.csv")
    for path, (_, _, bad, _) in totals.items():
        assert bad == sum(int(row["rows"]) for row in by_rule if row["path"] == path)
    assert totals["skellan/service_2024_kopie.csv"][1] == 0, "a copy brings nothing new"
    assert len({row["rule"] for row in by_rule}) == 16


def test_sample_files_are_received_small_and_listed(sample):
    folder, _ = sample
    received = {row["path"]: row["received_at"] for row in read_csv(folder / "received.csv")}
    known = {"received.csv", "expected_counts.csv", "expected_quarantine.csv"}
    files = {str(p.relative_to(folder)) for p in folder.rglob("*.csv")} - known
    assert set(received) == files
    assert set(received) - {"corrections.csv"} == {row["path"] for row in read_csv(folder / "expected_counts.csv")}
    assert max(received.values()) <= "2026-11-05"
    sizes = [p.stat().st_size for p in folder.rglob("*") if p.is_file()]
    assert max(sizes) < 400_000 and sum(sizes) < 3_000_000


def test_sample_dialects_name_contract_columns_and_every_file_once(sample):
    folder, _ = sample
    tables = {p.stem: tomllib.loads(p.read_text(encoding="utf-8")).get("columns") for p in CONTRACT.glob("*.toml")}
    specs = [tomllib.loads(p.read_text(encoding="utf-8")) for p in sorted((folder / "dialects").glob("*.toml"))]
    for spec in specs:
        for feed in spec["table"]:
            assert set(feed["columns"]) <= set(tables[feed["name"]]), spec["name"]
    for path in (row["path"] for row in read_csv(folder / "expected_counts.csv")):
        matching = [spec["name"] for spec in specs for glob in spec["files"] if Path(path).match(glob)]
        assert len(matching) == (0 if path.startswith("canonical/") else 1), path


def test_sample_fleet_is_mostly_well_run(sample):
    fleet, _ = group_tables(sample[1])

    def shares(day: str) -> list[float]:
        done = list_done(fleet, day)
        counts = [count_overdue(tables, done, day) for tables in fleet]
        return [len(set().union(*late.values())) / units for units, late in counts]

    done = list_done(fleet, "2026-10-31")
    counts = [count_overdue(tables, done, "2026-10-31") for tables in fleet]
    late, units = sum(len(set().union(*late.values())) for _, late in counts), sum(units for units, _ in counts)
    assert 0.03 <= late / units <= 0.08
    now = shares("2026-10-31")
    assert now[3] > 2 * max(now[:3] + now[4:]), "Vellamora is clearly the worst"
    bad_year = np.mean([shares(f"2023-{m:02d}-28")[2] for m in range(3, 12)])
    after = np.mean([shares(f"2025-{m:02d}-28")[2] for m in range(3, 12)])
    assert bad_year > 0.15 > 0.08 > after, "Osterwick slips in 2023 and recovers"


def test_rows_are_counted_as_the_pipeline_counts_them():
    def row(outcome: str, rule: str = "") -> Record:
        return Record({}, [Row("inspection", {"unit_id": "A", "inspected_on": "2024-01-01", "outcome": outcome}, rule)])

    first = Sheet("a.csv", "2024-02-01", {}, [row("satisfactory"), row("satisfactory"), row("gut?", "unknown-word")])
    second = Sheet("b.csv", "2024-03-01", {}, [row("no_access")])
    third = Sheet("c.csv", "2024-03-02", {}, [row("no_access")])
    totals, broken = count_rows([third, second, first])
    assert totals == [("a.csv", 3, 1, 1, 1), ("b.csv", 1, 1, 0, 0), ("c.csv", 1, 0, 0, 1)]
    assert broken == [("a.csv", "inspection", "unknown-word", 1)]


def test_small_fleet_has_all_tables_and_valid_rows(fleet):
    folder, _ = fleet
    tables: dict[str, list[dict]] = {}
    for path in sorted(folder.rglob("*.csv")):
        tables.setdefault(path.stem, []).extend(read_csv(path))
    assert set(tables) == {"vessel", "unit", "inspection", "service", "finding", "station", "spare", "received"}
    assert all(len(rows) >= 3 for rows in tables.values())
    for table in set(tables) - {"received"}:
        spec = tomllib.loads((CONTRACT / f"{table}.toml").read_text(encoding="utf-8"))
        untold = {"cartridge_ml", "cartridge_made_on", "colour_zone", "tested_part"}  # optional, and not simulated
        assert set(tables[table][0]) == set(spec["columns"]) - untold
        for name, column in spec["columns"].items():
            if name in untold:
                continue
            if column["type"] == "word":
                assert {row[name] for row in tables[table]} <= {*column["words"], ""}, (table, name)
            if column.get("required"):
                assert all(row[name] for row in tables[table]), (table, name)
    made = {row["unit_id"]: row["made_on"] for row in tables["unit"]}
    for table, event in EVENTS.items():
        assert {row["unit_id"] for row in tables[table]} <= set(made)
        assert all(row[event] >= made[row["unit_id"]] for row in tables[table] if made[row["unit_id"]])
    assert all(not row["removed_on"] or row["removed_on"] > row["in_service_on"] for row in tables["unit"])


def test_keys_are_unique_in_each_canonical_file(fleet):
    for path in sorted(fleet[0].rglob("*.csv")):
        if path.stem != "received":
            key = tomllib.loads((CONTRACT / f"{path.stem}.toml").read_text(encoding="utf-8"))["key"]
            rows = [tuple(row[name] for name in key) for row in read_csv(path)]
            assert len(rows) == len(set(rows)), path


def test_nothing_happens_after_the_file_was_received(fleet):
    received = {row["path"]: row["received_at"] for row in read_csv(fleet[0] / "received.csv")}
    for path, day in received.items():
        for row in read_csv(fleet[0] / path):
            assert all(row.get(name, "") <= day for name in (*EVENTS.values(), "closed_on", "counted_on")), path


def test_onset_follows_its_weibull(many):
    """Share of all units bought whose corrosion began by age 10, within 3.5 sd of the truth, by space."""
    units, truth = reveal_units(many), Truth()
    chance = 1 - np.exp(-((10 / units["onset_scale_years"]) ** truth.onset_shape))
    for space in ("accommodation", "machinery", "open_deck"):
        here = units["space"] == space
        sd = np.sqrt((chance * (1 - chance))[here].sum()) / here.sum()
        assert abs((units["onset_age_years"][here] <= 10).mean() - chance[here].mean()) < 3.5 * sd, space
    mean = {s.category: chance[units["space"] == s.category].mean() for s in SPACES}
    assert mean["open_deck"] > mean["machinery"] > mean["accommodation"]


def test_detection_and_condemnation_follow_their_chances(many):
    seen, truth = reveal_services(many), Truth()
    sound = seen[~seen["is_corroded"]]
    false_share = 1 - truth.specificity
    assert abs(sound["is_found"].mean() - false_share) < 3.5 * np.sqrt(false_share / len(sound))
    for provider in PROVIDERS:
        some = seen[seen["is_corroded"] & (seen["provider"] == provider.code)]
        chance = 1 - (1 - provider.sensitivity) * np.exp(-truth.sensitivity_slope_per_mm * some["loss_mm"])
        sd = np.sqrt((chance * (1 - chance)).sum()) / len(some)
        assert abs(some["is_found"].mean() - chance.mean()) < 3.5 * sd, provider.code
    chance = seen["condemn_chance"]
    assert abs(seen["is_condemned"].sum() - chance.sum()) < 3.5 * np.sqrt((chance * (1 - chance)).sum())
    assert seen["is_condemned"].sum() > 200


def test_draws_have_their_moments():
    draws = Draws(1)
    assert abs(draws.normal(40_000).mean()) < 0.02 and abs(draws.normal(40_000).std() - 1) < 0.02
    assert abs(draws.gamma(4, 40_000).std() - 0.5) < 0.02
    assert abs(draws.poisson(np.full(40_000, 1.3)).mean() - 1.3) < 0.03


def test_months_clamp_to_the_month_end():
    for start, months, due in (
        ("2024-01-31", 1, "2024-02-29"),
        ("2023-01-31", 1, "2023-02-28"),
        ("2024-02-29", 12, "2025-02-28"),
    ):
        assert add_months(count_day(start), months) == count_day(due)
    assert (
        count_day("1970-01-01") == 0 and count_day("2024-02-29") == (datetime.date(2024, 2, 29) - datetime.date(1970, 1, 1)).days
    )


def test_source_units():
    # NIST SP 811 appendix B: 1 psi = 6894.757 Pa; 1 lb, 1 in and 1 US gal are exact (recalled, from memory)
    assert FACTORS["psi"][0] * 1e5 == pytest.approx(6894.757, abs=1e-3)
    assert (convert("6.8038855", "lb"), convert("-25", "F"), convert("9.46352946", "us_gal")) == ("15", "-13", "2.5")
