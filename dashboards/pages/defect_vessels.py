"""Vessel by vessel, and this year against the one before: what is more than chance?

In: figure.defect_vessel, figure.defect_change. Out: the chart of vessels, in order of name, and the sentence on the year.
"""

from __future__ import annotations

from dashboards import palette, rate_charts, words
from dashboards.blocks import Chart, Context, Note, Table, name_columns
from dashboards.pages.defect_rates import EMPTY, PERIOD, Row
from dashboards.pages.list_found import name_found

VESSELS_SQL = """
    SELECT imo_number, findings, unit_years, per_100_unit_years, low, high, interval_by, shrunk, shrunk_low, shrunk_high, chance_above, "rank",
        dispersion_p, verdict_p, verdict
    FROM figure.defect_vessel WHERE period = 'last 12 months' ORDER BY imo_number"""
CHANGE_SQL = "SELECT * FROM figure.defect_change"
FEWEST, LIKELY, MOST_VESSELS, MOST_ROWS = 10, 0.8, 40, 100  # drawn, in the table (its CSV has all)


def state_finding(fleet: Row | None, vessels: list[Row], context: Context) -> str:
    """What the vessels' counts can tell, in the words of the test."""
    if fleet is None or len(vessels) < 2:
        return "One vessel alone: its rate is the fleet’s"
    if fleet.verdict.startswith("too few"):
        return "Too few defects found to compare vessels"
    if fleet.verdict.startswith("no evidence"):
        return "No evidence that vessels differ: what is seen is within chance"
    above = [context.name_vessel(r.imo_number) for r in vessels if r.chance_above >= LIKELY]
    if not above:
        return "Vessels differ by more than chance, but none is likely to exceed 1.5 times the fleet’s rate"
    verb = words.say_verb(len(above), "exceeds", "exceed")
    named = words.say_list(above) if len(above) < 4 else words.say_count(len(above), "vessel")
    return f"{words.say_capital(named)} {verb} 1.5 times the fleet’s rate with a chance of 80{words.THIN}% or more"


def read_own(row: Row) -> tuple[float | None, float | None, float | None]:
    """The vessel's own rate and limits, or nothing where there are too few to rate."""
    if row.findings < FEWEST:
        return (None, None, None)
    return words.round_to(row.per_100_unit_years, 6), words.round_to(row.low, 6), words.round_to(row.high, 6)


def read_drawn(row: Row) -> tuple[float | None, float | None, float | None]:
    """Rate and limits drawn towards the fleet."""
    return (
        (None, None, None)
        if row.shrunk is None
        else (words.round_to(row.shrunk, 6), words.round_to(row.shrunk_low, 6), words.round_to(row.shrunk_high, 6))
    )


def draw_vessels(rows: list[Row], labels: list[str], fleet: Row) -> dict:
    """Each vessel's own interval, and where it stands when drawn towards the fleet: a diamond."""
    texts = [f"{words.say_number(r.findings)} found" + ("" if r.findings >= FEWEST else ", too few to rate") for r in rows]
    reference = (words.round_to(fleet.per_100_unit_years, 6), f"fleet {words.say_number(fleet.per_100_unit_years, 1)}")
    figure = rate_charts.draw_intervals(labels, [read_own(r) for r in rows], texts, "defects found per 100 unit-years", reference)
    names = figure["layout"]["yaxis"]["categoryarray"][::-1]
    # below 10 found the words stand at zero: no mark may lie under them
    drawn = [
        (name, words.round_to(r.shrunk, 6))
        for name, r in zip(names, rows, strict=True)
        if r.shrunk is not None and r.findings >= FEWEST
    ]
    marks = {
        "type": "scatter", "mode": "markers", "x": [d[1] for d in drawn], "y": [d[0] for d in drawn],
        "marker": {"symbol": "diamond-open", "size": 13, "color": palette.INK, "line": {"width": 1.6}},
        "hovertemplate": "%{y}: %{x}, drawn towards the fleet<extra></extra>",
    }  # fmt: skip
    figure["data"].append(marks)
    return figure


def chart_vessels(rows: list[Row], context: Context) -> Chart | Table:
    """In order of name, never of rank: the table has the chance, and a rank only where there is evidence for one."""
    fleet = next((r for r in rows if r.imo_number == "*"), None)
    mine = [r for r in rows if r.imo_number in context.by_imo]
    mine.sort(key=lambda r: (context.name_vessel(r.imo_number), r.imo_number))
    columns = name_columns(
        "vessel=Vessel:link; imo_number=:text twin; findings=Found:count; unit_years=Unit-years:number; "
        "per_100_unit_years=Own rate per 100 unit-years (95 % interval):interval; drawn=Drawn towards the fleet:interval; "
        "chance_above_pct=Chance of exceeding 1.5 times the fleet:percent; rank=Order by that chance:count"
    )
    cells = tuple(
        (
            context.link_vessel(r.imo_number), r.imo_number, context.count(r.findings, name_found("found", PERIOD, "vessel", r.imo_number)), words.round_to(r.unit_years, 1), read_own(r), read_drawn(r),
            None if r.chance_above is None else 100 * r.chance_above, r.rank,
        )
        for r in mine
    )  # fmt: skip
    table = Table("vessels", f"Distinct defects found, {PERIOD}, by vessel", columns, cells, empty=EMPTY, shown=MOST_ROWS)
    if fleet is None or not mine or not any(r.findings >= FEWEST for r in mine):
        return table
    said = (
        "In order of name. Point and line: the vessel’s own rate with exact 95 % limits. Diamond: the rate drawn towards the fleet, the "
        "better guess of the long run. The rate follows how closely a crew looks as well as the state of its units."
    )
    shown = mine
    if len(mine) > MOST_VESSELS:
        # a choice that no rate enters
        watched = {r.imo_number for r in sorted(mine, key=lambda r: (-r.unit_years, r.imo_number))[:MOST_VESSELS]}
        shown = [r for r in mine if r.imo_number in watched]
        said += f" Drawn are the {MOST_VESSELS} with the most unit-years; the table has all {len(mine)}."
    figure = draw_vessels(shown, [context.name_vessel(r.imo_number) for r in shown], fleet)
    return Chart("vessels", state_finding(fleet, mine, context), said, figure, table)


def say_change(rows: list[Row]) -> Note:
    """This year against the one before, and whether that is more than chance."""
    if not rows:
        return Note("The records don’t reach back far enough to set these twelve months against those before.", "empty")
    (row,) = rows
    counts = (
        f"{words.say_count(row.findings, 'defect')} in {words.say_number(row.unit_years, 1)} unit-years in these twelve months, "
        f"{words.say_number(row.findings_before)} in {words.say_number(row.unit_years_before, 1)} in the twelve before"
    )
    if row.verdict == "too few to tell":
        return Note(f"{words.say_capital(counts)}: too few to tell a change from chance.")
    low, high = min(row.low, row.wide_low or row.low), None if row.high is None else max(row.high, row.wide_high or row.high)
    if row.ratio is None:
        limits = f"nothing was found the year before, so the ratio has no upper limit; at least {words.say_number(low, 2)}"
    else:
        limits = f"{words.say_number(row.ratio, 2)} times the rate (95 % interval {words.say_number(low, 2)} to {words.say_number(high, 2)})"
    verdict = {
        "more than the year before": "The rate of finds has risen by more than chance; a closer look at the units raises it, too.",
        "fewer than the year before": "The rate of finds has fallen by more than chance; looking less closely lowers it, too.",
    }.get(row.verdict, "No evidence of a change: chance alone gives differences of this size.")
    return Note(f"{verdict} {words.say_capital(counts)}: {limits}.")
