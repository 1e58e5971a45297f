"""The sentences under 'Is it real?': more than chance, no evidence, or too few to tell, and never more than the limits allow."""

from __future__ import annotations

from types import SimpleNamespace as Row

import numpy as np
import pytest

from dashboards.pages.corrosion_ages import tell_ages, title_ages
from dashboards.pages.on_time_data import OnTime, say_outside, say_real
from dashboards.pages.on_time_tables import say_points
from pipeline.figures.corrosion_model import is_settled, write_term


def make_band(years: str, units: int, share: float, low: float, high: float) -> Row:
    return Row(age_band_years=years, agent="*", lining="*", space_category="*", units=units, units_corroded=round(units * share),
               share=share, low=low, high=high)  # fmt: skip


@pytest.mark.parametrize(
    ("old", "said"),
    [
        (make_band("15-19", 40, 0.5, 0.35, 0.65), "That more is found on units aged 15-19 years than on those aged 0-4 years is more than chance: "),
        (make_band("15-19", 40, 0.3, 0.18, 0.45), "No evidence that more is found on units aged 15-19 years than on those aged 0-4 years: "),
        (make_band("15-19", 29, 0.5, 0.33, 0.67), "Whether age makes a difference can’t be told: two bands of 30 units are needed."),
    ],
)  # fmt: skip
def test_ages_differ_only_where_intervals_do_not_meet(old, said):
    rows = [make_band("0-4", 50, 0.1, 0.04, 0.21), old]
    assert tell_ages(rows).text.startswith(said)
    assert ("don't meet" in title_ages(rows)) == ("more than chance" in said)


def make_year(**more: object) -> Row:
    numbers = {"fell_due": 400, "done_in_time": 320, "rate": 0.8, "low": 0.7, "high": 0.88, "shown": "rate", "why_not": None, "change": "better",
               "difference": 0.1, "difference_low": 0.02, "difference_high": 0.17, "funnel_services": 20.0, "flag": None}  # fmt: skip
    return Row(**(numbers | more))


def tell(*durations: Row, **years: Row) -> str:
    keys = {"now": ("last 12 months", "*", "*"), "before": ("the 12 before", "*", "*")}
    return say_real(OnTime({keys[name]: row for name, row in years.items()}, [], list(durations)))


def test_the_year_in_time_is_told_by_its_limits():
    assert "More than chance: it got better." in tell(now=make_year(), before=make_year())
    worse = make_year(change="worse", difference=-0.1, difference_low=-0.17, difference_high=-0.02)
    assert "10.0 points fewer" in tell(now=worse, before=make_year()) and "it got worse" in tell(now=worse, before=make_year())
    same = make_year(change="can not be told", difference_low=-0.02)
    assert "Chance alone may do that" in tell(now=same, before=make_year()) and "More than chance" not in tell(
        now=same, before=make_year()
    )
    assert "to compare with" in tell(now=make_year())
    few = make_year(shown="counts only", why_not="nothing to go by")
    assert "320 of 400 that fell due were done in time; no rate is given (nothing to go by)" in tell(now=few)


def test_nothing_due_says_what_is_still_open():
    left = Row(imo_number="*", duty="*", still_open=3)
    assert tell() == "Nothing fell due in the last 12 months."
    assert tell(left) == "Nothing fell due in the last 12 months. 3 items fell due before that and are still open."


def test_one_vessel_is_set_against_nobody():
    context = Row(name_vessel=lambda imo: f"Vessel {imo}")
    years = {
        ("last 12 months", imo, "*"): make_year(flag=flag, imo_number=imo) for imo, flag in (("1", None), ("2", "fewer in time"))
    }
    assert say_outside(OnTime(years, [], []), context) == "Outside the limits of the fleet: Vessel 2 (fewer in time)."
    alone = {key: row for key, row in years.items() if key[1] == "1"}
    assert say_outside(OnTime(alone, [], []), context) == "With one vessel alone there is no fleet to set it against."


def test_points_with_their_limits():
    assert say_points(6.25, -4.6, 16.7) == "+6.2 (−4.6 to +16.7)" and say_points(6.3, None, None) == "–"


@pytest.mark.parametrize("error", [np.nan, np.inf, 400.0, 1.6])
def test_what_the_records_do_not_settle_has_no_number(error):
    row = write_term("shape", (9, 12, 2), 2.0, error, 1.96)
    assert row[:7] == ("shape", 9, 12, 2, None, None, None) and "20 times" in row[7] and not is_settled(error, 1.96)


def test_what_they_settle_has_limits():
    """By hand: 2 exp(-+1.96 x .5) = .750622, 5.328912."""
    assert write_term("shape", (9, 12, 2), 2.0, 0.5, 1.96) == ("shape", 9, 12, 2, 2.0, 0.750622, 5.328912, None)
