"""Shares of units with corrosion and how they are said.

In: rows of figure.corrosion_by_age. Out: shares with Wilson limits, counts alone below ten units, and the panels of a split.
"""

from __future__ import annotations

from typing import Any

from dashboards import charts, time_charts, words
from dashboards.blocks import Chart, Context, Table, name_columns
from dashboards.pages.list_reasons import name_band as name_list

Row = Any


LEAST_UNITS = 10
LEAST_CLAIM = 30  # a sentence or title compares no band with fewer units


DIMENSIONS = ("agent", "lining", "space_category")


EMPTY = (
    "No unit in service has both a known age and a look on record. Load units with a date of manufacture "
    "(made_on), and inspections or services."
)


def pick_rows(rows: list[Row], dimension: str | None = None) -> list[Row]:
    """Rows that are split by exactly this dimension, or by age alone."""
    return [r for r in rows if all((getattr(r, d) != "*") == (d == dimension) for d in DIMENSIONS)]


def read_share(row: Row) -> tuple[float | None, float | None, float | None]:
    """Percentage and limits, or nothing below ten units."""
    if row.units < LEAST_UNITS or row.share is None:
        return (None, None, None)
    return (
        words.round_to(100 * float(row.share), 6),
        words.round_to(100 * float(row.low), 6),
        words.round_to(100 * float(row.high), 6),
    )


def say_share(row: Row) -> str:
    """The share with its interval, or the count."""
    if row.units < LEAST_UNITS:
        return f"{words.say_number(row.units_corroded)} of {words.say_number(row.units)}, too few to rate"
    return (
        f"{words.say_interval(*read_share(row), unit='%')}, {words.say_number(row.units_corroded)} of "
        f"{words.say_number(row.units)}"
    )


def name_band(row: Row) -> str:
    """'5–9' and '20+', short enough for an axis."""
    return row.age_band_years.replace(" and over", "+")


def say_band(row: Row) -> str:
    """'5–9 years' and '20 years and over', for a sentence."""
    low, over, _ = row.age_band_years.partition(" and over")
    return f"{low} years{over}"


def name_word(word: str) -> str:
    """The panel's name; the lining 'none' is no lining."""
    return "no lining" if word == "none" else words.say_slug(word)


def count_band(row: Row, context: Context, dimension: str = "") -> tuple:
    """Units looked at and units with corrosion, each leading to its list."""
    part = (dimension, getattr(row, dimension)) if dimension else ()
    return (
        context.count(row.units, name_list(row.age_band_years, "age", *part)),
        context.count(row.units_corroded, name_list(row.age_band_years, "corroded", *part)),
    )


def title_split(plain: str, names: list[str], bands: tuple[str, ...], cell: dict) -> str:
    """The shares in the age band in which most panels have units enough for a claim, as plain facts."""
    held = {band: [n for n in names if (n, band) in cell and cell[n, band].units >= LEAST_CLAIM] for band in bands}
    best = max(bands, key=lambda band: (len(held[band]), bands.index(band)), default="")
    if len(held.get(best, [])) < 2:
        return f"Too few units of one age to compare one {plain} with another"
    rated = sorted(held[best], key=lambda n: (-cell[n, best].share, n))
    said = [f"{name_word(n)} {words.say_percent(100 * cell[n, best].share, 0)}" for n in rated[:4]]
    return f"Corrosion found at {best} years: {words.say_list(said)}" + (", and others" if len(rated) > 4 else "")


def chart_split(rows: list[Row], dimension: str, plain: str, context: Context) -> Chart:
    """Small multiples of the share by age, one panel for each word of the dimension."""
    mine = pick_rows(rows, dimension)
    bands = tuple(dict.fromkeys(name_band(r) for r in pick_rows(rows)))
    names = sorted({getattr(r, dimension) for r in mine})
    cell = {(getattr(r, dimension), name_band(r)): r for r in mine}
    empty = (None, None, None)
    shares = {n: [read_share(cell[n, b]) if (n, b) in cell else empty for b in bands] for n in names}
    drawn = [n for n in names if any(s[0] is not None for s in shares[n])]
    cut = {n: [tuple(s[k] for s in shares[n]) for k in range(3)] for n in drawn}
    series = [charts.Series(name_word(n), bands, cut[n][0], cut[n][1], cut[n][2]) for n in drawn]
    columns = name_columns(
        f"{dimension}={plain.capitalize()}; age_band_years=Age, years; units=Units:count; "
        "units_corroded=Corroded:count; corroded_pct=Share (95 % interval):percent_interval"
    )
    cells = tuple(
        (name_word(r_name), band, *count_band(cell[r_name, band], context, dimension), shares[r_name][i])
        for r_name in names
        for i, band in enumerate(bands)
        if (r_name, band) in cell
    )
    table = Table(
        dimension,
        f"Corrosion ever found, by {plain} and age",
        columns,
        cells if drawn else (),
        empty=EMPTY if not mine else f"No {plain} has {LEAST_UNITS} units in one age band yet, so no share can be rated.",
    )
    left = [name_word(n) for n in names if n not in drawn]
    said = (
        f"Each panel has the same scale; bands with fewer than {LEAST_UNITS} units are left empty, those with fewer than {LEAST_CLAIM} tell little."
        + (f" Too few units for a panel: {words.say_list(left)}." if left else "")
    )
    return Chart(dimension, title_split(plain, drawn, bands, cell), said, time_charts.draw_panels(series, False, " %"), table)


def say_limits(row: Row) -> str:
    """'58 %, 95 % interval 41 to 73'."""
    value, low, high = (words.say_number(v) for v in read_share(row))
    return f"{value}{words.THIN}%, 95{words.THIN}% interval {low} to {high}"
