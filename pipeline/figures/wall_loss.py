"""How fast do walls get thinner? In: wall_reading and wall_unit of wall_loss.sql. Out: figure.wall_loss, filled."""

from __future__ import annotations

from datetime import date
from itertools import groupby

import duckdb
import numpy as np

from pipeline.figures.insert import insert_rows
from pipeline.figures.statistics.wall import Line, draw_together, find_gauge_error, fit_line, say_remaining

GAUGE_ERROR_MM = 0.1  # of one reading, where the readings are too few to tell: common practice, no source
REACH = 1.959964


def round_off(value: float) -> float:
    """To a thousandth of a micrometre a year: beyond, the last digits are the machine's."""
    return round(float(value), 6)


def fit_unit(days: list[tuple[date, float]]) -> tuple[Line, float]:
    """The line over years since the first reading, and the variance of its height at the last one in units of the gauge's."""
    years = np.array([(day - days[0][0]).days / 365.25 for day, _ in days])
    line = fit_line(years, [mm for _, mm in days])
    return line, float(1 / len(days) + (years[-1] - years.mean()) ** 2 / line.spread)


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> None:
    """One row a unit, in order of its number."""
    rows = con.execute("select unit_id, read_on, wall_mm from wall_reading order by unit_id, read_on").fetchall()
    units = {
        row[0]: row[1:] for row in con.execute("select unit_id, imo_number, wall_min_mm, is_aboard from wall_unit").fetchall()
    }
    con.execute("drop table wall_reading")
    con.execute("drop table wall_unit")
    readings = {unit: [(row[1], float(row[2])) for row in mine] for unit, mine in groupby(rows, key=lambda row: row[0])}
    readings = {unit: mine for unit, mine in readings.items() if unit in units}
    if not readings:
        return
    fitted = {unit: fit_unit(mine) for unit, mine in readings.items()}
    lines = [line for line, _ in fitted.values()]
    gauge, is_measured = find_gauge_error(lines, [len(mine) for mine in readings.values()], GAUGE_ERROR_MM)
    drawn = draw_together(lines, gauge)
    out = []
    for place, (unit, mine) in enumerate(readings.items()):
        imo_number, least, is_aboard = units[unit]
        line, height = fitted[unit]
        rate, error, shrunk, shrunk_error = (values[place] for values in drawn[:4])
        now = line.at + line.slope * (mine[-1][0] - mine[0][0]).days / 365.25
        highest = shrunk + REACH * shrunk_error
        least = None if least is None else float(least)
        years, why = say_remaining(now, gauge * height**0.5, least, float(highest), mine[-1][1])
        if years is not None:
            years -= (as_of - mine[-1][0]).days / 365.25
        out.append((
            unit, imo_number, is_aboard, len(mine), mine[0][0], mine[0][1], mine[-1][0], mine[-1][1], round_off(now), least,
            *(round_off(v) for v in (rate, rate - REACH * error, rate + REACH * error, shrunk, shrunk - REACH * shrunk_error, highest)),
            None if years is None else round_off(years), why, round_off(gauge), is_measured,
        ))  # fmt: skip
    insert_rows(con, "figure.wall_loss", out)
