"""How past lists did, as chart and tables. In: rows of figure.back_test, back_test_group. Out: blocks of the Watch list page."""

from __future__ import annotations

from dashboards import rate_charts, words
from dashboards.blocks import Chart, Context, Count, Table, name_columns
from dashboards.pages.list_track import name_group, name_track
from dashboards.pages.watch_words import FEW, NAMES, Row

REMARK = (
    "At each past half-year every method ordered the units of that day from what was known then, and learned only from half-years that were "
    "over and told of by then: where files come once a year, it knew no more than the last year’s. Twelve months later it was told who had been condemned. Units that left for another reason in between are counted and left out. "
    "The lists are judged by their own order: past ones do not put hard reasons first, as today’s does. Limits draw whole vessels anew; of "
    "fewer than 30, units too, and the wider count. Hard signs: wall below the least, last pressure test failed, lining failed. "
    "figure.unit_half_year in the database tells which units were on a past list; their ranks are not kept."
)
EMPTY = "No past half-year has both 26 months of records before it and 12 months after it."


def pick_together(tests: list[Row]) -> list[Row]:
    """All half-years together, of methods that had a list; by lot is no estimate and stands as a line."""
    return [r for r in tests if r.cutoff is None and r.top_5 is not None and r.method != "base_rate"]


def read_precision(row: Row) -> tuple[float | None, float | None, float | None]:
    """Share of the first 5 % that was condemned, with limits; nothing where too few were condemned at all."""
    if row.condemned < FEW:
        return (None, None, None)
    return tuple(words.round_to(100 * v, 6) for v in (row.precision_at_5_pct, row.precision_5_low, row.precision_5_high))


def find_lot(tests: list[Row]) -> tuple[float, str] | None:
    """What any order by lot would hold: the share of all units, where there are enough to give one."""
    lot = next((r for r in tests if r.cutoff is None and r.method == "base_rate" and r.units and r.condemned >= FEW), None)
    return (
        None
        if lot is None
        else (words.round_to(100 * lot.condemned / lot.units, 6), f"by lot {words.say_percent(100 * lot.condemned / lot.units)}")
    )


def say_found(row: Row) -> str:
    """'6 of 26', in part where rows tie."""
    found = words.say_number(row.found_5, 0 if row.found_5 == int(row.found_5) else 1)
    return f"{found} of {words.say_number(row.top_5)}"


def say_point(row: Row) -> str:
    """The share with its limits and the count, or the count alone."""
    if row.condemned < FEW:
        return f"{say_found(row)}, too few to rate"
    return f"{words.say_interval(*read_precision(row), unit='%')}, {say_found(row)}"


def title_tops(rows: list[Row]) -> str:
    """The best two, as plain facts."""
    if not rows:
        return "No past list to tell of yet"
    if rows[0].condemned < FEW:
        return f"{words.say_capital(words.say_count(rows[0].condemned, 'unit'))} condemned in past half-years: too few to rate a list"
    ranked = sorted(rows, key=lambda r: -r.precision_at_5_pct)[:2]
    said = [f"{NAMES[r.method]} {words.say_percent(100 * r.precision_at_5_pct, 0)}" for r in ranked]
    return f"Of the first 5 % of past lists condemned within twelve months: {words.say_list(said)}"


def chart_tops(tests: list[Row]) -> Chart:
    """What the first 5 % of each method's past lists held."""
    rows = pick_together(tests)
    columns = name_columns(
        "method=Ordered by; found=Condemned in the first 5 %:page_number; precision_pct=Share (95 % interval):percent_interval; "
        "found_5=:number twin; top_5=:count twin; lift_5=Times the share of all:number"
    )
    cells = tuple(
        (words.say_capital(NAMES[r.method]), say_found(r), read_precision(r), r.found_5, r.top_5, r.lift_at_5_pct) for r in rows
    )
    table = Table("tops", "The first 5 % of past lists, all half-years together", columns, cells, empty=EMPTY)
    figure = rate_charts.draw_intervals(
        [words.say_capital(NAMES[r.method]) for r in rows], [read_precision(r) for r in rows], [say_point(r) for r in rows],
        "condemned, % of the list’s first 5 %", find_lot(tests),
    )  # fmt: skip
    said = "Half-years in which a model had a list, or all where none had; each looks twelve months ahead, so that they overlap."
    return Chart("tops", title_tops(rows), said, figure, table)


def list_tests(tests: list[Row], context: Context) -> Table:
    """Every half-year and method."""
    columns = name_columns(
        "cutoff=List of:date; method=Ordered by; units=Units:count; condemned=Condemned:count; left_otherwise=Left otherwise:count; "
        "found_5=In the first 5 %:number; top_5=of:count; found_10=In the first 10 %:number; top_10=of:count; expected=Expected:number; "
        "why_not=Remark:long; events=Learned from condemned:count twin; kind=Kind:text twin; brier=:number twin; brier_skill=:number twin; "
        "log_score=:number twin; calibration_intercept=:number twin; calibration_slope=:number twin; lift_5=:number twin; lift_10=:number twin; "
        "gain_5=:number twin; gain_5_low=:number twin; gain_5_high=:number twin; gain_10=:number twin; gain_10_low=:number twin; "
        "gain_10_high=:number twin"
    )
    cells = tuple(
        (r.cutoff, words.say_capital(NAMES[r.method]), r.units, context.count(r.condemned, name_track("condemned", r.cutoff)),
         context.count(r.left_otherwise, name_track("left", r.cutoff)), r.found_5, r.top_5, r.found_10, r.top_10, r.expected,
         r.why_not or "", r.events, r.kind, r.brier, r.brier_skill, r.log_score, r.calibration_intercept, r.calibration_slope, r.lift_at_5_pct,
         r.lift_at_10_pct, r.gain_5, r.gain_5_low, r.gain_5_high, r.gain_10, r.gain_10_low, r.gain_10_high)
        for r in tests if r.cutoff is not None
    )  # fmt: skip
    return Table(
        "half-years",
        "Each past list: where ties stand at the edge, they count in part",
        columns,
        cells,
        is_folded=True,
        empty=EMPTY,
    )


def read_share(row: Row, condemned: int) -> tuple[float | None, float | None, float | None]:
    """Share condemned of a group, in percent with limits; nothing where all groups together have too few."""
    return (None, None, None) if condemned < FEW else tuple(words.round_to(100 * v, 6) for v in (row.share, row.low, row.high))


def count_condemned(row: Row, context: Context) -> int | Count | None:
    """Condemned units of a fifth or band, leading to them."""
    return context.count(row.condemned, name_group(row.grouped_by, row.group_no))


def chart_calibration(groups: list[Row], context: Context) -> Chart | Table:
    """Fifths of the chance given: what was given on average, and the share that came of it. Counts alone where too few were condemned."""
    rows = [r for r in groups if r.grouped_by == "fifth"]
    condemned = sum(r.condemned for r in rows)
    shares = [read_share(r, condemned) for r in rows]
    names = [f"{words.say_percent(100 * r.chance)} given" for r in rows]
    rates = ["" if share[0] is None else words.say_interval(*share, unit="%") + ", " for share in shares]
    texts = [f"{said}{words.say_number(r.condemned)} of {words.say_number(r.units)}" for said, r in zip(rates, rows, strict=True)]
    columns = name_columns(
        "group=Fifth; chance_pct=Chance given, mean:percent; condemned=Condemned:count; units=Units:count; share=Share (95 % interval):percent_interval"
    )
    cells = tuple(
        (words.say_capital(r.label), 100 * r.chance, count_condemned(r, context), r.units, share)
        for r, share in zip(rows, shares, strict=True)
    )
    few = f": {words.say_count(condemned, 'unit')} condemned, too few for rates" if rows and condemned < FEW else ""
    caption = f"Chances given and what came of it, by fifths{few}"
    table = Table("calibration", caption, columns, cells, empty="No model had a list in a past half-year.")
    if condemned < FEW:
        return table
    given, came = names[-1].removesuffix(" given"), words.say_percent(100 * rows[-1].share)
    title = f"Of the fifth given the highest chances, {given} on average, {came} were condemned"
    said = "Past lists a year apart, so that each condemnation stands once. A chance holds where it lies within its interval."
    return Chart("calibration", title, said, rate_charts.draw_intervals(names, shares, texts, "condemned, % of the fifth"), table)


def list_bands(groups: list[Row], context: Context) -> Table:
    """Bands of the list against what happened."""
    columns = name_columns(
        "band=Band of past lists; units=Units:count; chance_pct=Chance given, mean:percent; condemned=Condemned:count; share=Share (95 % interval):percent_interval"
    )
    rows = [r for r in groups if r.grouped_by == "band"]
    condemned = sum(r.condemned for r in rows)
    cells = tuple(
        (words.say_capital(r.label), r.units, 100 * r.chance, count_condemned(r, context), read_share(r, condemned)) for r in rows
    )
    return Table(
        "bands", "What came of each band, lists a year apart", columns, cells, empty="No model had a list in a past half-year."
    )
