"""What corrosion takes: steps of the rust grade, wall that is lost. In: figure.rust_grade_change, wall_loss. Out: tables, notes."""

from __future__ import annotations

from typing import Any

from dashboards import words
from dashboards.blocks import Context, Note, Table, name_columns

Row = Any
GRADES_SQL = "SELECT * FROM figure.rust_grade_change ORDER BY from_grade, to_grade"
WALLS_SQL = """
    SELECT * FROM figure.wall_loss WHERE is_aboard
    ORDER BY CASE WHEN why_not LIKE 'below%' THEN 0 WHEN why_not LIKE '%least wall' THEN 1 ELSE 2 END, years_left NULLS LAST, unit_id"""
SHOWN = 40
STEPS = {"worse": "worse", "same": "the same", "better": "lower: repainted, or read otherwise"}
CAUTION = (
    "Caution: a wall limit is the maker’s, and a competent person decides on a unit. Years left take steady loss at the upper 95 % limit "
    "since the day of the last reading, from that reading or the line through all of them, whichever is lower, and count from the day of this page; corrosion is not steady, and a reading at another point of the shell tells of another wall."
)


def say_mm(value: float | None) -> str:
    """1.42."""
    return words.say_number(value, 2)


def list_steps(rows: list[Row]) -> Table:
    """From one grading of a shell to the next."""
    columns = name_columns(
        "from_grade=From; to_grade=To; step=At the next grading; pairs=Times seen:count; unit_years=Unit-years at the first grade:number; "
        "said=Per 100 unit-years (95 % interval):page_number; per_100_unit_years=:interval twin"
    )
    rates = [(None, None, None) if r.per_100_unit_years is None else (r.per_100_unit_years, r.low, r.high) for r in rows]
    cells = tuple(
        (r.from_grade, r.to_grade, STEPS[r.kind], r.pairs, words.round_to(r.unit_years, 1),
         words.NONE if rate[0] is None else words.say_interval(*rate), rate)
        for r, rate in zip(rows, rates, strict=True)
    )  # fmt: skip
    return Table(
        "steps", "From one rust grade of a shell to that of the next look that graded it", columns, cells,
        empty="No shell has been graded twice yet.",
    )  # fmt: skip


def say_steps(rows: list[Row]) -> str:
    """How many gradings fell, which no rust does."""
    fallen, every = sum(r.pairs for r in rows if r.kind == "better"), sum(r.pairs for r in rows)
    if not every:
        return ""
    of = f"of {words.say_number(every)} gradings"
    lower = f"{words.say_number(fallen)} {of} {words.say_verb(fallen, 'was', 'were')} lower than the one before: a repaint or another eye, and no rate is given. "
    lower = lower if fallen else f"None {of} was lower than the one before. "
    return (
        lower
        + "A step of several grades between two looks is one step. Limits are Garwood’s. Only units on which corrosion was reported twice stand here."
    )


def say_left(row: Row) -> str:
    """'4.2 years', that it may be past, or why it can't be said."""
    if row.years_left is not None and row.years_left <= 0:
        return f"may have been reached {words.say_number(-row.years_left, 1)} years ago"
    return row.why_not or words.NONE if row.years_left is None else f"{words.say_number(row.years_left, 1)} years"


def list_walls(rows: list[Row], context: Context) -> Table:
    """Units aboard with two wall readings or more, those nearest their limit first."""
    columns = name_columns(
        "unit_id=Unit:unit; imo_number=:text twin; vessel=Vessel:link; readings=Readings:count; first_on=:date twin; first_um=:count twin; "
        "last_on=Last read:date; last=Last, least mm:page_number; last_um=:count twin; fitted_um=:count twin; least_um=:count twin; own_um=:interval twin; "
        "drawn_um=Lost a year, µm, drawn to the fleet:interval; left=Left at the upper limit:page_text; years_left=:number twin; why_not=:text twin"
    )
    cells = tuple(
        (
            context.link_unit(r.unit_id), r.imo_number, context.link_vessel(r.imo_number), r.readings, r.first_on, words.round_whole(1000 * r.first_mm), r.last_on,
            f"{say_mm(r.last_mm)}, {say_mm(r.wall_min_mm)}", words.round_whole(1000 * r.last_mm), words.round_whole(1000 * r.fitted_mm),
            None if r.wall_min_mm is None else words.round_whole(1000 * r.wall_min_mm), tuple(1000 * v for v in (r.mm_per_year, r.low, r.high)),
            tuple(1000 * v for v in (r.shrunk, r.shrunk_low, r.shrunk_high)), say_left(r), r.years_left, r.why_not or "",
        )
        for r in rows
    )  # fmt: skip
    return Table(
        "walls", "Units aboard whose wall was measured on two days or more, nearest to the least wall first", columns, cells, shown=SHOWN, is_folded=True,
        empty="No unit aboard has wall readings of two days. A reading at each pressure test (wall_mm_measured) would tell what is lost.",
    )  # fmt: skip


def tell_walls(rows: list[Row]) -> Note:
    """How many are measured, what they lose, how many are near."""
    if not rows:
        return Note("Without two readings of a wall nothing can be said of its loss.", "empty")
    below = sum((r.why_not or "").startswith("below") for r in rows)
    past = sum(r.years_left is not None and r.years_left <= 0 for r in rows)
    near = sum(r.years_left is not None and 0 < r.years_left < 5 for r in rows)
    unclear = sum("can't be told from the least wall" in (r.why_not or "") for r in rows)
    gauge = "by the readings" if rows[0].is_gauge_error_measured else "as is common, for the readings are too few to tell"
    return Note(
        f"Of {words.say_count(len(rows), 'unit')} aboard with two readings or more, {words.say_number(below)} {words.say_verb(below, 'lies', 'lie')} below the least wall, "
        f"{words.say_number(past)} may have reached it since the last reading, {words.say_number(unclear)} couldn’t be told from it then, "
        f"and {words.say_number(near)} more might reach it within five years from the day of this page. "
        f"A reading errs by {words.say_number(1000 * rows[0].gauge_error_mm)} µm, {gauge}. {CAUTION}",
    )
