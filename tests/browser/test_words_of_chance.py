"""Sentences about chance say no more than their figures: titles, headlines and notes, from rows made by hand."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from types import SimpleNamespace as Row

import numpy as np
import pytest

from dashboards import words
from dashboards.pages import corrosion_metal, defect_words, on_time, overdue
from dashboards.pages.corrosion_curves import CORRECTED, chart_groups
from dashboards.pages.on_time_data import OnTime
from pipeline.figures.corrosion_onset import widen
from pipeline.figures.on_time_chart import judge_years


def make_curve(value: str, share: float, low: float, high: float) -> Row:
    return Row(
        method=CORRECTED, dimension="agent", value=value, age_years=10.0, starts_at=2.0, at_risk=20, share=share, low=low, high=high
    )  # fmt: skip


@pytest.mark.parametrize(
    ("low", "said"), [(0.46, "the intervals of highest and lowest don’t meet"), (0.20, "their intervals overlap")]
)
def test_highest_and_lowest_are_those_compared(low, said):
    """Foam lies narrowly between powder and water; its interval is nobody's business here."""
    rows = [make_curve("powder", 0.6, low, 0.9), make_curve("foam", 0.55, 0.5, 0.6), make_curve("water", 0.3, 0.1, 0.45)]
    rows.append(Row(**vars(rows[0]) | {"dimension": "all", "value": "all"}))
    assert chart_groups(rows, "agent", "agent").title.endswith(said)


def make_month(**more) -> Row:
    return Row(
        **(
            {"centre": 0.9, "is_outside": False, "is_run_signal": False, "is_drifting": False, "month_end": date(2026, 1, 31)}
            | more
        )
    )


@pytest.mark.parametrize("signal", ["is_run_signal", "is_drifting"])
def test_a_title_does_not_deny_what_its_text_says(signal):
    assert "what varied in the baseline" in on_time.title_flow([make_month()])
    assert "the course has moved from the baseline" in on_time.title_flow([make_month(), make_month(**{signal: True})])


@pytest.mark.parametrize(
    ("years", "slope", "p", "said"),
    [
        (None, None, None, "from five whole years on"),
        (6, -0.02, 0.2, "no one-way course"),
        (6, -0.02, 0.01, "has fallen by 2.0 points a year"),
    ],
)
def test_years_that_go_one_way(years, slope, p, said):
    assert said in on_time.say_trend(Row(trend_years=years, trend_a_year=slope, trend_p=p))


def test_years_are_whole_and_at_least_five():
    """Shares 50, 60, 70, 80, 90 %: all ten pairs rise, S = 10, variance 50 / 3, z = 9 / 4.082, p = .0275; by hand. The odd months before
    the first whole year are left out."""
    ends = [date(2020 + n // 12, 1 + n % 12, 28) for n in range(63)]
    months = [Row(month_end=end, fell_due=10, done_in_time=0 if n < 3 else 5 + (n - 3) // 12) for n, end in enumerate(ends)]
    years, slope, p = judge_years(months)
    assert (years, slope, p) == (5, pytest.approx(0.1), pytest.approx(0.0275, abs=1e-4))
    assert judge_years(months[4:]) == (None, None, None)


def test_none_seen_of_so_many_is_not_none():
    """None of 75: up to 1 - .025^(1/75) = 4.8 %; the start is none by definition; an upper limit never falls with age."""
    limits = np.array([[0, 0, 0, 0.01], [0, 0, 0, 0.02]])
    low, high = widen([0.0, 0.0, 0.0, 0.015], limits, np.array([70, 75, 79, 60]))
    assert low == [0, 0, 0, 0.01] and high == pytest.approx([0, 0.048, 0.048, 0.048], abs=3e-4)


@pytest.mark.parametrize(
    ("by", "said"), [("quasi-Poisson", "47.2 to 105.0, which allows for how much vessels differ"), ("Garwood", "47.2 to 105.0)")]
)
def test_the_headline_of_defects_is_as_wide_as_vessels_differ(by, said):
    fleet, whole = Row(per_100_unit_years=70.4, low=60.4, high=81.7), Row(low=47.2, high=105.0, interval_by=by)
    text = defect_words.say_fleet_rate(fleet, whole)
    assert said in text and "60.4" not in text


def test_walls_that_may_be_past_are_said_first():
    walls = [
        Row(why_not=None, years_left=left, is_gauge_error_measured=True, gauge_error_mm=0.1) for left in (-0.4, 0.0, 3.0, 9.0)
    ]
    text = corrosion_metal.tell_walls(walls).text
    assert text.index("2 may have reached it since the last reading") < text.index(
        "1 more might reach it within five years from the day"
    )
    assert corrosion_metal.say_left(walls[0]) == "may have been reached 0.4 years ago"


def tell_funnel(ratio: float | None) -> str:
    vessels = {("last 12 months", imo, "*"): Row(funnel_services=11.0, funnel_centre=0.85, flag=None) for imo in ("a", "b")}
    vessels["last 12 months", "*", "*"] = Row(least_ratio=ratio, funnel_services=None)
    return on_time.say_funnel(OnTime(vessels, [], []))


def test_what_a_fleet_can_see_is_told_of_the_others_and_in_services():
    """Late as often as the fleet, 15 of 100, times 5.6: 84 of 100."""
    assert (
        "with 80 % chance if 84 of 100 of its services are late, 5.6 times as many as the others’, were these late as often"
        in tell_funnel(5.6)
    )
    assert "no vessel, however late, is found with 80 % chance" in tell_funnel(None)


def test_the_page_says_what_months_in_runs_do():
    year = Row(
        shown="counts only",
        done_in_time=8,
        fell_due=9,
        why_not="few",
        change="too few",
        difference_low=None,
        funnel_services=None,
    )
    said = on_time.tell_real(OnTime({("last 12 months", "*", "*"): year}, [], []), None).text
    assert "good and bad months come in runs, chance gives such signs more often" in said
    assert "runs" not in on_time.tell_real(OnTime({}, [], []), None).text


def test_half_a_day_is_rounded_one_way_in_sentence_and_table():
    """26.5 days, and 9.5: up, as in words; the machine's own rounding says 26 and 10."""
    spread = [
        Row(duty=duty, items=2, median_days=days, p90_days=days, most_days=40)
        for duty, days in (("*", 26.5), ("onboard_check", 9.5))
    ]
    context = Row(book=Row(name_duty=lambda duty: duty), count=lambda count, *_: count)
    rows = overdue.list_spread(Row(spread=spread), context).rows
    assert [row[2:4] for row in rows] == [(27, 27), (10, 10)] and words.round_whole(26.5) == 27 and words.round_to(0.25, 1) == 0.3


def test_pages_round_by_words_alone():
    """A bare round() goes to the even neighbour, so that table and sentence part. Elsewhere: places of a number, a point of a drawing, SQL."""
    elsewhere = {"list_numbers.py", "rule_words.py", "unit_life.py", "unit_queries.py"}
    for path in Path(on_time.__file__).parent.glob("*.py"):
        calls = re.findall(r"(?<![\w.])round\(", path.read_text(encoding="utf-8"))
        assert not calls or path.name in elsewhere, path.name


def test_walls_say_where_their_years_start():
    assert "from that reading or the line through all of them, whichever is lower" in corrosion_metal.CAUTION
