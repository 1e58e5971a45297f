"""Which defects come first, and how sure that is.

In: figure.defect_pareto. Out: the chart of shares with their limits, titled by what can be told.
"""

from __future__ import annotations

from dashboards import palette, rate_charts, words
from dashboards.blocks import Chart, Context, Note, Table, name_columns
from dashboards.charts import draw_bars
from dashboards.pages.defect_rates import EMPTY, PERIOD, Row, name_kind
from dashboards.pages.list_found import name_found

PARETO_SQL = """
    SELECT component, defect, findings, share, low, high, chance_first, chance_top3, is_ranked, is_first, tied_with, clusters,
        clustered_by, why_not
    FROM figure.defect_pareto WHERE period = 'last 12 months' ORDER BY findings DESC, component, defect"""
MOST = 12
DRAWS = 2000  # of figures/statistics/pareto.py; pages read the database alone
CLUSTERS = {"vessels": ("vessel", "vessels"), "vessel months": ("month of a vessel", "months of vessels")}


def state_finding(rows: list[Row]) -> str:
    """A first place only where it is one."""
    if not rows:
        return "No defect is on record"
    first = next((r for r in rows if r.is_first), None)
    if first:
        share = words.say_interval(100 * first.share, 100 * first.low, 100 * first.high, "%")
        return f"{words.say_capital(name_kind(first))} is found most often: {share} of all"
    tied = [r for r in rows if r.tied_with]
    if not tied:
        return "Defects found, by kind: too few vessels and months to tell which comes first"
    # likeliest first: the kinds that together hold the first place
    tied.sort(key=lambda r: (-r.chance_first, r.component, r.defect))
    if len(tied) > 3:
        return f"{len(tied)} kinds can’t be told apart as the most frequent, {name_kind(tied[0])} among them"
    names = words.say_list([name_kind(r) for r in tied])
    return f"{words.say_capital(names)} can’t be told apart as the most frequent"


def tell_first(rows: list[Row]) -> Note:
    """Whether the kind found most often is first by more than chance, in one sentence."""
    if not rows:
        return Note("No defect was found in the last 12 months, so no kind comes first.", "empty")
    first = next((r for r in rows if r.is_first), None)
    if first:
        chance = words.say_percent(100 * first.chance_first, 0)
        return Note(
            f"That {name_kind(first)} comes first is more than chance: set against each other kind, {first.clustered_by.replace('vessel months', 'month of a vessel by month').replace('vessels', 'vessel by vessel')}, "
            f"the 95 % limits of the difference leave out none. It leads in {chance} of fleets drawn anew from these records."
        )
    why = rows[0].why_not or "the difference between the first and another is within chance"
    return Note(f"Which kind comes first can’t be told: {why}.")


def read_share(row: Row) -> tuple[float | None, float | None, float | None]:
    """Percentage and limits, or nothing where there are none."""
    if row.low is None:
        return (None, None, None)
    return words.round_to(100 * row.share, 6), words.round_to(100 * row.low, 6), words.round_to(100 * row.high, 6)


def say_row(row: Row) -> str:
    """The words beside a mark: the count, and that an uncoded kind has no place."""
    return f"{words.say_number(row.findings)} found{'' if row.is_ranked else ', uncoded: not ranked'}"


def draw_shares(rows: list[Row]) -> dict:
    """Bars from zero with their limits as whiskers; bars of counts alone where there are no limits."""
    labels, texts = [name_kind(r) for r in rows], [say_row(r) for r in rows]
    if rows[0].low is None:
        return draw_bars(labels, [r.findings for r in rows], "distinct defects found", texts)
    figure = rate_charts.draw_intervals(labels, [read_share(r) for r in rows], texts, "% of all defects found")
    # a bar instead of the point: its length is the share, and each number is drawn once
    marks = figure["data"][0]
    del marks["mode"]
    marks |= {"type": "bar", "orientation": "h", "width": 0.62, "marker": {"color": palette.QUIET, "opacity": 0.45}}
    return figure


def table_shares(name: str, caption: str, rows: list[Row], context: Context) -> Table:
    """Kinds with their shares and chances."""
    columns = name_columns(
        "kind=Component and defect; findings=Found:count; share_pct=Share of all (95 % interval):percent_interval; "
        "chance_first_pct=Chance of being the first:percent; chance_top3_pct=Chance of being among three:percent; ranked=Ranked"
    )
    cells = tuple(
        (
            name_kind(r), context.count(r.findings, name_found("found", PERIOD, "kind", f"{r.component}|{r.defect}")), read_share(r), *(None if c is None else 100 * c for c in (r.chance_first, r.chance_top3)),
            "yes" if r.is_ranked else "no, uncoded",
        )
        for r in rows
    )  # fmt: skip
    return Table(name, caption, columns, cells, empty=EMPTY, is_folded=name != "pareto")


def chart_pareto(rows: list[Row], context: Context) -> Chart | Table:
    """The kinds found most often, and in its table what is drawn."""
    table = table_shares("pareto", f"Shares of the defects found, {PERIOD}", rows[:MOST], context)
    if not rows:
        return table
    drawn = (
        f"Whiskers hold 95 % of {words.say_number(DRAWS)} fleets drawn anew from "
        f"{words.say_count(rows[0].clusters, *CLUSTERS[rows[0].clustered_by])}; a first place is claimed only where the difference from each other kind is more than chance."
    )
    said = f"Counts alone: {rows[0].why_not}." if rows[0].why_not else f"{say_drawn(len(rows))} {drawn}"
    return Chart("pareto", state_finding(rows), said, draw_shares(rows[:MOST]), table)


def say_drawn(kinds: int) -> str:
    """How many of the kinds stand in the chart."""
    return f"The {MOST} kinds found most often, of {kinds}." if kinds > MOST else "Every kind that was found."


def list_rarer(rows: list[Row], context: Context) -> tuple[Table, ...]:
    """The kinds that the chart leaves out, where there are any."""
    rest = rows[MOST:]
    return (
        (table_shares("rarer", f"The other {words.say_count(len(rest), 'kind')} found, {PERIOD}", rest, context),) if rest else ()
    )
