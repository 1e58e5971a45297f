"""A fleet of the simulator as records that the figures of the watch list see, and the true chance of each unit beside them.

In: sizes, a seed, a `Truth`. Out: an open database with record, duty and figure.unit_half_year, and a table `truth` of one row a unit
and half-year: the chance to be condemned within 12 months that nobody can know better, from its true wall loss and the tests to come.
"""

from __future__ import annotations

import tempfile
from datetime import date
from importlib.resources import files
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from pipeline import contract
from pipeline.duties.build import build_duties
from pipeline.duties.rule_book import read_rule_book
from pipeline.statements import run_sql
from pipeline.warehouse.build import open_scratch
from tests.simulator.life import Life
from tests.simulator.parameters import MAKERS, PROVIDERS, Truth
from tests.simulator.write_canonical import reveal_services, write_canonical

AS_OF = date(2026, 10, 31)
FIGURES = ("count_interval", "observed", "known_record", "unit_half_year")


def load_records(con: duckdb.DuckDBPyConnection, folder: Path) -> None:
    """Canonical files as they are, all received in bulk; the simulator writes good rows only, and restates a finding when it is closed."""
    con.execute(contract.macros_sql())
    con.execute(files("pipeline.warehouse").joinpath("schema.sql").read_text(encoding="utf-8"))
    for name, table in contract.tables().items():
        paths = sorted(str(path) for path in folder.rglob(f"{name}.csv"))
        header = Path(paths[0]).read_text(encoding="utf-8").split("\n", 1)[0].split(",")
        columns = ", ".join(f"'{column}': 'varchar'" for column in header)
        con.execute(
            f"""create table read_{name} as select *, row_number() over () as record_no
            from read_csv($paths, header = true, auto_detect = false, delim = ',', columns = {{{columns}}})""",
            {"paths": paths},
        )
        held = {row[0] for row in con.execute(f"describe read_{name}").fetchall()}
        cells = ", ".join(
            f"nullif({c.name}, '')::{c.sql_type} as {c.name}" if c.name in held else f"null::{c.sql_type} as {c.name}"
            for c in table.columns
        )
        con.execute(
            f"""create table record.{name} as select {cells}, '{name}' as file_id, record_no, record_no + 1 as line_no from read_{name}
            qualify row_number() over (partition by {", ".join(table.key)} order by record_no desc) = 1 order by record_no"""
        )
        con.execute(f"drop table read_{name}")
        con.execute(
            f"create table history.{name} as select *, '' as replaced_by_file_id, 0::bigint as replaced_by_record_no from record.{name} limit 0"
        )
        con.execute(
            "insert into intake.file (file_id, path, received_at) values ($name, $path, timestamp '2026-11-03')",
            {"name": name, "path": f"{name}.csv"},
        )


def figure_rows(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """Spans and figure.unit_half_year of the records in the database."""
    build_duties(con, read_rule_book())
    for name in FIGURES:
        run_sql(con, files("pipeline.figures").joinpath(f"{name}.sql").read_text(encoding="utf-8"), {"as_of": as_of})


def average_detection(services: pd.DataFrame, truth: Truth) -> np.ndarray:
    """Chance of condemnation at each service before anybody knows what the service will find: over whether corrosion is found."""
    first = np.array([{p.code: p.sensitivity for p in PROVIDERS}[code] for code in services["provider"]])
    seen = 1 - (1 - first) * np.exp(-truth.sensitivity_slope_per_mm * services["loss_mm"])
    seen = np.where(services["is_corroded"], seen, 1 - truth.specificity)
    chance = services["condemn_chance"].to_numpy(float)
    clean = np.log(chance / (1 - chance)) - truth.condemn_found * services["is_found"]
    return seen / (1 + np.exp(-clean - truth.condemn_found)) + (1 - seen) / (1 + np.exp(-clean))


def tell_truth(con: duckdb.DuckDBPyConnection, life: Life, truth: Truth) -> None:
    """Table `truth`: one row is a unit and a half-year, with its true chance to be condemned at its services of the next 12 months."""
    services = reveal_services(life)
    makers = [MAKERS[m][0] for m in life.units["maker"][services["unit"]]]
    services["unit_id"] = [f"{m}-{100000 + u}" for m, u in zip(makers, services["unit"], strict=True)]
    services["chance"] = average_detection(services, truth)
    con.register("services", services[["unit_id", "serviced_on", "chance"]])
    con.execute(
        """create table truth as
        select row.unit_id, starts_on, 1 - exp(sum(ln(1 - chance))) as true_chance
        from figure.unit_half_year as row join services on services.unit_id = row.unit_id
            and serviced_on > starts_on and serviced_on <= starts_on + to_months(12)
        group by all"""
    )
    con.unregister("services")


def build_watched(vessels: int, units: int, years: int, seed: int, truth: Truth | None = None) -> duckdb.DuckDBPyConnection:
    """The database as of 2026-10-31."""
    con = open_scratch()
    con.execute("set threads = 1")
    with tempfile.TemporaryDirectory() as place:
        life = write_canonical(Path(place), vessels, years, units, seed, "year", truth)
        load_records(con, Path(place))
    figure_rows(con, AS_OF)
    tell_truth(con, life, truth or Truth())
    return con
