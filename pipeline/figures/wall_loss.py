"""How fast do walls get thinner? In: wall_reading and wall_unit of wall_loss.sql. Out: figure.wall_loss, filled."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

import duckdb
import numpy as np

from pipeline.figures.apart import Compute, Write, write_each
from pipeline.figures.insert import insert_columns
from pipeline.figures.statistics.wall import Line, draw_together, find_gauge_error, fit_lines, say_remaining

GAUGE_ERROR_MM = 0.1  # of one reading, where the readings are too few to tell: common practice, no source
REACH = 1.959964
YEAR = 365.25  # days
READINGS_SQL = """
    select read_on, wall_mm::double as wall_mm from wall_reading semi join wall_unit using (unit_id) order by unit_id, read_on"""
UNITS_SQL = """
    select unit_id, any_value(imo_number) as imo_number, any_value(is_aboard) as is_aboard, count(*) as readings,
        any_value(wall_min_mm)::double as wall_min_mm
    from wall_reading join wall_unit using (unit_id) group by unit_id order by unit_id"""


class Readings(NamedTuple):
    """Of each unit (n,): its number, vessel, whether it is aboard, how many readings it has, the least wall (NaN: none on record), and where
    the first and last of its readings stand among all (k,): their days and walls in mm."""

    unit: np.ndarray
    vessel: np.ndarray
    is_aboard: np.ndarray
    count: np.ndarray
    least: np.ndarray
    first: np.ndarray
    last: np.ndarray
    day: np.ndarray
    wall: np.ndarray

    @property
    def watched(self) -> np.ndarray:
        """Years (n,) from the first reading to the last."""
        return (self.day[self.last] - self.day[self.first]).astype(int) / YEAR


def round_off(values: np.ndarray | float) -> np.ndarray:
    """To a thousandth of a micrometre a year: beyond, the last digits are the machine's."""
    return np.round(values, 6)


def read_readings(con: duckdb.DuckDBPyConnection) -> Readings:
    """All of them, in order of unit and day."""
    days, units = con.execute(READINGS_SQL).fetchnumpy(), con.execute(UNITS_SQL).fetchnumpy()
    named, aboard, count = (units[name] for name in ("unit_id", "is_aboard", "readings"))
    last = np.cumsum(np.asarray(count, int)) - 1
    least = np.ma.filled(np.ma.asarray(units["wall_min_mm"], float), np.nan)
    vessel = np.ma.filled(np.ma.asarray(units["imo_number"], object), None)
    return Readings(
        np.asarray(named, object), vessel, np.asarray(aboard, bool), np.asarray(count, int), least, last - count + 1, last,
        np.asarray(days["read_on"], "datetime64[D]"), np.asarray(days["wall_mm"], float),
    )  # fmt: skip


def fit_units(of: Readings) -> tuple[Line, np.ndarray]:
    """The lines over years since the first reading, and the variance (n,) of their height at the last one in units of the gauge's."""
    years = (of.day - np.repeat(of.day[of.first], of.count)).astype(int) / YEAR
    lines = fit_lines(years, of.wall, of.first)
    return lines, 1 / of.count + (years[of.last] - np.add.reduceat(years, of.first) / of.count) ** 2 / lines.spread


def fill(con: duckdb.DuckDBPyConnection, as_of: date) -> Compute | None:
    """Read the readings; what is returned computes figure.wall_loss."""
    of = read_readings(con)
    con.execute("drop table wall_reading; drop table wall_unit")
    if not len(of.unit):
        return None

    def compute() -> Write:
        columns = measure_losses(of, as_of)
        return write_each((insert_columns, "figure.wall_loss", columns))

    return compute


def measure_losses(of: Readings, as_of: date) -> list[np.ndarray]:
    """Columns (units,) of figure.wall_loss, one row a unit, in order of its number."""
    lines, height = fit_units(of)
    gauge, is_measured = find_gauge_error(lines, of.count, GAUGE_ERROR_MM)
    rate, error, shrunk, shrunk_error, _ = draw_together(lines, gauge)
    now, highest = lines.at + lines.slope * of.watched, shrunk + REACH * shrunk_error
    least = np.where(np.isnan(of.least), None, of.least)
    numbers = (values.tolist() for values in (now, gauge * height**0.5, least, highest, of.wall[of.last]))
    told = [say_remaining(*each) for each in zip(*numbers, strict=True)]
    since = (np.datetime64(as_of) - of.day[of.last]).astype(int) / YEAR
    years_left = np.array([years for years, _ in told], float) - since
    rates = rate, rate - REACH * error, rate + REACH * error, shrunk, shrunk - REACH * shrunk_error, highest
    return [
        of.unit, of.vessel, of.is_aboard, of.count, of.day[of.first], of.wall[of.first], of.day[of.last], of.wall[of.last], round_off(now),
        of.least, *(round_off(values) for values in rates), round_off(years_left), np.array([why for _, why in told], object),
        np.full(len(now), round_off(gauge)), np.full(len(now), is_measured),
    ]  # fmt: skip
