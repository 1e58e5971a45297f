"""A unit's life on one line: checks, services, findings, and the days on which it was overdue, as a drawing that needs no script.

In: `UnitData`. Out: a `Drawing`; the table of records below it holds every day that it shows.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Drawing
from dashboards.pages.unit_data import Row, UnitData

LEFT, WIDTH, LANE, TOP = 70, 640, 18, 4
LANES = (("check", "Checks"), ("service", "Services"), ("finding", "Findings"))
LATE = "Overdue"
MOST_YEARS = 12  # labels of more would touch


def place(day: date, first: date, last: date) -> float:
    """Where a day lies along the line."""
    return round(LEFT + WIDTH * (day - first).days / max((last - first).days, 1), 1)


def draw_marks(days: Iterable[date], lane: int, first: date, last: date) -> str:
    """One stroke a day, as one path."""
    top = TOP + lane * LANE + 4
    return "".join(f"M{place(day, first, last)} {top}v10" for day in sorted(set(days)))


def draw_years(first: date, last: date, foot: int) -> str:
    """A tick at each new year, a label where there is room."""
    years = range(first.year + 1, last.year + 1)
    step = -(-len(years) // MOST_YEARS) or 1
    places = [(year, place(date(year, 1, 1), first, last)) for year in years]
    ticks = "".join(f"M{x} {TOP}V{foot}" for _, x in places)
    labels = "".join(f'<text x="{x}" y="{foot + 13}">{year}</text>' for year, x in places if year % step == 0)
    return f'<path class="year" d="{ticks}"/>{labels}'


def say_late(late: list[Row]) -> str:
    """What the drawing shows: how often it was overdue, and when last."""
    if not late:
        return "Never overdue on these records"
    last = "and is so still" if late[-1].is_open else f"the last until {words.say_date(late[-1].to_on)}"
    return f"Overdue {'once' if len(late) == 1 else f'{words.say_number(len(late))} times'}, {last}"


def draw_life(data: UnitData, as_of: date) -> Drawing | None:
    """The drawing, from the first day on record to the day of the page; nothing where there is no day to show."""
    days = {
        name: [r.day for r in data.records if r.lane == name and r.day and r.day <= as_of and not r.later_path]
        for name, _ in LANES
    }
    late = [(s.from_on, s.to_on) for s in data.late if s.from_on <= as_of]
    begins = [day for part in days.values() for day in part] + [day for day, _ in late]
    if not begins or min(begins) >= as_of:
        return None
    first, foot = min(begins), TOP + (len(LANES) + 1) * LANE
    parts = [draw_years(first, as_of, foot)]
    for lane, (name, said) in enumerate(LANES):
        parts.append(
            f'<text class="lane" y="{TOP + lane * LANE + 13}">{said}</text><path class="{name}" d="{draw_marks(days[name], lane, first, as_of)}"/>'
        )
    bars = "".join(
        f"M{place(a, first, as_of)} {foot - LANE / 2}H{max(place(b, first, as_of), place(a, first, as_of) + 1)}" for a, b in late
    )
    parts.append(f'<text class="lane" y="{foot - LANE + 13}">{LATE}</text><path class="late" d="{bars}"/>')
    counts = [f"{words.say_count(len(set(days[name])), 'day')} with {said.lower()}" for name, said in LANES]
    summary = f"From {words.say_date(first)} to {words.say_date(as_of)}: {words.say_list(counts)}."
    svg = f'<svg class="life" viewBox="0 0 {LEFT + WIDTH + 10} {foot + 18}" role="img" aria-label="{summary}">{"".join(parts)}</svg>'
    return Drawing(
        Markup(svg), say_late([s for s in data.late if s.from_on <= as_of]), summary
    )  # numbers, dates and words of ours alone
