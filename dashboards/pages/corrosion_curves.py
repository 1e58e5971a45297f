"""At what age does corrosion begin? In: figure.corrosion_onset, corrosion_model. Out: charts of curves.

The corrected curve leads; where records can't tell what looks miss, that of the records as they stand does, and says so.
"""

from __future__ import annotations

from typing import Any

from dashboards import charts, time_charts, words
from dashboards.blocks import Chart, Note, Table, name_columns
from dashboards.pages.corrosion_curve_chart import draw_curves
from dashboards.pages.corrosion_shares import name_word

Row = Any
Interval = tuple[float | None, float | None, float | None]

CORRECTED, RECORDED, NAIVE, EVERY = (
    "first clean, errors of looks allowed for",
    "first clean, delayed entry",
    "naive: first finding taken as the day it began",
    "all units, prevalent left-censored",
)
NAMES = {CORRECTED: "corrected", RECORDED: "as recorded", NAIVE: "naive", EVERY: "as recorded, all units"}
CURVES_SQL = "SELECT * FROM figure.corrosion_onset ORDER BY method, dimension, value, age_years"
MODEL_SQL = "SELECT * FROM figure.corrosion_model ORDER BY method, dimension, value, term"
TOLD_AGES = (10.0, 5.0, 15.0)  # the first of these that the curve reaches is in the title
PANEL_AGES = (5.0, 10.0, 15.0, 20.0)


def pick(rows: list[Row], method: str, dimension: str = "all", value: str = "all") -> list[Row]:
    """The rows of one curve or model."""
    return [r for r in rows if (r.method, r.dimension, r.value) == (method, dimension, value)]


def choose_lead(rows: list[Row]) -> str:
    """The corrected curve, where there is one."""
    return CORRECTED if pick(rows, CORRECTED) else RECORDED


def to_interval(row: Row | None) -> Interval:
    """Share and limits in per cent."""
    if row is None or row.low is None:
        return (None, None, None)
    return words.round_to(100 * row.share, 6), words.round_to(100 * row.low, 6), words.round_to(100 * row.high, 6)


def say_pct(row: Row) -> str:
    """'40 % (28 to 52)'."""
    value, low, high = (words.say_number(v) for v in to_interval(row))
    return f"{value}{words.THIN}% ({low} to {high})"


def say_age(years: float) -> str:
    """'1.5 years', '2 years', '1 year'."""
    return f"{words.say_number(years, 0 if years == int(years) else 1)} {'year' if years == 1 else 'years'}"


def find_told(rows: list[Row]) -> Row | None:
    """The row of the lead curve that a title speaks of."""
    at = {r.age_years: r for r in pick(rows, choose_lead(rows)) if r.low is not None}
    return next((at[age] for age in TOLD_AGES if age in at), None)


def title_curves(rows: list[Row]) -> str:
    """Share with onset by an age, and what first findings alone would say."""
    told = find_told(rows)
    if told is None:
        return "At what age corrosion begins, as far as records reach"
    said = f"Clean at {say_age(told.starts_at)}, begun by {say_age(told.age_years)}: an estimated {say_pct(told)} of units"
    naive = next((r for r in pick(rows, NAIVE) if r.age_years == told.age_years), None)
    return said if naive is None else f"{said}; first findings alone would say {words.say_percent(100 * naive.share, 0)}"


def chart_curves(rows: list[Row], models: list[Row]) -> Chart | Note:
    """The conditional curve with its limits, the records as they stand, and the naive curve by name."""
    lead = choose_lead(rows)
    mine = pick(rows, lead)
    if not mine:
        why = next(
            (r.why_not for r in models if r.method == RECORDED and r.term == "shape" and r.dimension == "all" and r.why_not), None
        )
        return Note(f"No curve can be drawn yet: {why or 'too few units were under watch at any one age'}.", "empty")
    start = mine[0].starts_at
    at = {method: {r.age_years: r for r in pick(rows, method)} for method in NAMES}
    columns = name_columns(
        "age_years=Age, years; at_risk=Units watched then:count; corrected_pct=Corrected (95 % interval):percent_interval; "
        "recorded_pct=As recorded (95 % interval):percent_interval; all_units_pct=As recorded, all units (from new):percent_interval; "
        "naive_pct=Naive (from new):percent_interval"
    )
    cells = tuple(
        (f"{r.age_years:g}", r.at_risk, *(to_interval(at[m].get(r.age_years)) for m in (CORRECTED, RECORDED, EVERY, NAIVE)))
        for r in mine
    )
    table = Table("onset", f"Share with corrosion begun by each age, of units clean at {say_age(start)}", columns, cells)
    shown = [m for m in (lead, RECORDED, NAIVE) if m == lead or at[m]]
    reach = mine[-1].age_years
    lines = {
        NAMES[m]: [(r.age_years, words.round_to(100 * r.share, 6)) for r in pick(rows, m) if start <= r.age_years <= reach]
        for m in dict.fromkeys(shown)
    }
    figure = draw_curves(lines, [(r.age_years, *to_interval(r)[1:]) for r in mine], "units with corrosion begun, %", "age, years")
    said = (
        f"Conditional: of units still clean at {say_age(start)}, the first age at which ten were under watch, where the share is none by definition; shown to the end of the last half-year "
        "that at least five began, of whom fewer may be left. Thin lines: 95 % "
        "limits of the leading curve. The naive curve takes the first report as the day on which corrosion began, from new: it is shown "
        "to compare, not to be used."
    )
    if lead == RECORDED:
        said += " The records can’t tell what looks miss, so the curve stands as recorded: the truth is earlier."
    return Chart("onset", title_curves(rows), said, figure, table)


def chart_groups(rows: list[Row], dimension: str, plain: str) -> Chart | Note:
    """Panels of the share begun by a few ages, one for each kind of space or agent."""
    lead = choose_lead(rows)
    names = sorted({r.value for r in rows if r.method == lead and r.dimension == dimension})
    if not names:
        return Note(f"No {plain} has had onsets enough for a curve of its own yet.", "empty")
    at = {name: {r.age_years: r for r in pick(rows, lead, dimension, name)} for name in names}
    ages = tuple(age for age in PANEL_AGES if any(age in mine for mine in at.values()))
    series = []
    for name in names:
        points = [to_interval(at[name].get(age)) for age in ages]
        series.append(
            charts.Series(name_word(name), tuple(str(int(a)) for a in ages), *(tuple(p[k] for p in points) for k in range(3)))
        )
    columns = name_columns(
        f"{dimension}={plain.capitalize()}; starts_at=Clean at, years:number; age_years=Begun by, years:number; at_risk=Units watched then:count; begun_pct=Share (95 % interval):percent_interval"
    )
    cells = tuple(
        (name_word(n), r.starts_at, r.age_years, r.at_risk, to_interval(r))
        for n in names
        for r in at[n].values()
        if r.age_years in ages
    )
    table = Table(f"onset-{dimension}".replace("_", "-"), f"Share with corrosion begun, by {plain}", columns, cells)
    best = max(ages, key=lambda age: (sum(age in mine for mine in at.values()), age == TOLD_AGES[0]), default=0.0)
    told = sorted((at[n][best].share, name_word(n)) for n in names if best in at[n])[::-1]
    title = f"Begun by {say_age(best)}: " + words.say_list([f"{n} {words.say_percent(100 * share, 0)}" for share, n in told[:4]])
    if len(told) > 1:
        ends = sorted((at[n][best] for n in names if best in at[n]), key=lambda r: r.share)
        apart = ends[-1].low > ends[0].high
        title += ": the intervals of highest and lowest don’t meet" if apart else ": their intervals overlap"
    said = f"Each of units clean at the start of its own curve, which differs from one {plain} to another. By age in years, with 95 % limits."
    return Chart(table.name, title, said, time_charts.draw_panels(series, False, " %"), table)
