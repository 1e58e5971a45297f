"""Corrosion found so far, by age. In: rows of figure.corrosion_by_age. Out: the chart by age, its verdict, the table of rust grades."""

from __future__ import annotations

from dashboards import rate_charts, words
from dashboards.blocks import Chart, Column, Context, Note, Table, name_columns
from dashboards.pages.corrosion_shares import (
    EMPTY,
    LEAST_CLAIM,
    LEAST_UNITS,
    Row,
    count_band,
    name_band,
    name_list,
    pick_rows,
    read_share,
    say_band,
    say_share,
)

GRADES = ("worst_ri1", "worst_ri2", "worst_ri3", "worst_ri4", "worst_ri5", "worst_ungraded")
SURVIVORS = (
    "Survivors only: a corroded unit that was condemned is no longer counted, so the share among old "
    "units understates what age does."
)
AGES_SQL = """
    SELECT age_band_years, agent, lining, space_category, units, units_corroded, share, low, high, share_smooth,
        worst_ri1, worst_ri2, worst_ri3, worst_ri4, worst_ri5, worst_ungraded
    FROM figure.corrosion_by_age
    ORDER BY agent, lining, space_category, regexp_extract(age_band_years, '^[0-9]+')::INTEGER"""


def pick_ends(rows: list[Row]) -> tuple[Row, Row] | None:
    """The bands of lowest and of highest share, of those with units enough for a claim."""
    rated = sorted((r for r in pick_rows(rows) if r.units >= LEAST_CLAIM), key=lambda r: r.share)
    return (rated[0], rated[-1]) if len(rated) > 1 else None


def title_ages(rows: list[Row]) -> str:
    """The lowest and the highest of the bands with units enough, and whether their intervals meet."""
    ends = pick_ends(rows)
    if ends is None:
        return "Too few units of different ages to compare"
    low, high = ends
    said = ", ".join(f"{words.say_percent(100 * r.share, 0)} at {say_band(r)}" for r in (high, low))
    return said + (": their intervals don't meet" if high.low > low.high else ": their intervals overlap")


def tell_ages(rows: list[Row]) -> Note:
    """Whether the ages that the opening names differ by more than chance, in one sentence."""
    ends = pick_ends(rows)
    if ends is None:
        return Note(f"Whether age makes a difference can’t be told: two bands of {LEAST_CLAIM} units are needed.", "empty")
    low, high = ends
    shares = f"{say_share(high)}, against {say_share(low)}"
    if high.low > low.high:
        return Note(
            f"That more is found on units aged {say_band(high)} than on those aged {say_band(low)} is more than chance: {shares}; the intervals don’t meet."
        )
    return Note(
        f"No evidence that more is found on units aged {say_band(high)} than on those aged {say_band(low)}: {shares}; the intervals overlap."
    )


def chart_ages(rows: list[Row], context: Context) -> Chart | Table:
    """The whole fleet by age."""
    mine = pick_rows(rows)
    columns = name_columns(
        "age_band_years=Age, years; units=Units looked at:count; units_corroded=Corrosion ever found:count; "
        "corroded_pct=Share (95 % interval):percent_interval; smooth_pct=Nearest that never falls with age:percent"
    )
    cells = tuple(
        (name_band(r), *count_band(r, context), read_share(r), None if r.share_smooth is None else 100 * r.share_smooth)
        for r in mine
    )
    table = Table("ages", "Units in service that were looked at, by age", columns, cells, empty=EMPTY)
    if mine and not any(r.units >= LEAST_UNITS for r in mine):
        return table
    figure = rate_charts.draw_intervals(
        [name_band(r) for r in mine],
        [read_share(r) for r in mine],
        [say_share(r) for r in mine],
        "units with corrosion ever found, %, by age in years",
    )
    summary = f"Share of the units in service on which corrosion was ever found, by age now. {SURVIVORS}"
    return Chart("ages", title_ages(rows), summary, figure, table)


def list_grades(rows: list[Row], context: Context) -> Table:
    """The worst rust grade found, by age."""
    heads = ("Ri1", "Ri2", "Ri3", "Ri4", "Ri5", "Not graded")
    columns = (
        Column("age_band_years", "Age, years"),
        Column("units_corroded", "Corroded", "count"),
        *(Column(k, h, "count") for k, h in zip(GRADES, heads, strict=True)),
    )
    cells = tuple(
        (
            name_band(r),
            count_band(r, context)[1],
            *(context.count(getattr(r, g), name_list(r.age_band_years, g.replace("worst_", "grade-"))) for g in GRADES),
        )
        for r in pick_rows(rows)
    )
    return Table(
        "grades",
        (
            "Units by the worst rust grade ever found on them (ISO 4628-3: Ri1 0.05 % rusted area, Ri2 0.5 %, Ri3 "
            "1 %, Ri4 8 %, Ri5 40 to 50 %)"
        ),
        columns,
        cells,
        empty=EMPTY,
    )
