"""What the Defects page claims, and where it must not claim anything."""

from __future__ import annotations

from types import SimpleNamespace as Row

import pytest

from dashboards.pages import defect_lasting, defect_pareto, defect_rates, defect_vessels

NO_LISTS = Row(count=lambda value, name: value)
NAMES = Row(name_vessel=lambda imo: f"Vessel {imo}", by_imo={"1": None, "2": None})


def make_kind(component: str, chance: float, tied: bool = False, is_first: bool = False) -> Row:
    return Row(
        component=component, defect="damaged", findings=9, share=0.3, low=0.2, high=0.41, chance_first=chance, is_ranked=True,
        is_first=is_first, tied_with=["x"] if tied else [], clustered_by="vessels",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kinds", "said"),
    [
        ([make_kind("hose", 0.95, is_first=True), make_kind("pin", 0.05)],
         "Hose damaged is found most often: 30.0\u00a0% (20.0 to 41.0) of all"),
        ([make_kind("hose", 0.4, True), make_kind("pin", 0.6, True)],
         "Pin damaged and hose damaged can’t be told apart as the most frequent"),
        ([make_kind(c, p, True) for c, p in (("hose", 0.4), ("pin", 0.2), ("seal", 0.2), ("head", 0.1))],
         "4 kinds can’t be told apart as the most frequent, hose damaged among them"),
        ([make_kind("hose", 0.0)], "Defects found, by kind: too few vessels and months to tell which comes first"),
        ([], "No defect is on record"),
    ],
)  # fmt: skip
def test_the_first_place_is_named_only_where_it_is_sure(kinds, said):
    assert defect_pareto.state_finding(kinds) == said


@pytest.mark.parametrize(
    ("verdict", "chances", "said"),
    [
        ("no evidence that vessels differ", (0.9, 0.1), "No evidence that vessels differ: what is seen is within chance"),
        ("too few found to compare vessels", (0.9, 0.1), "Too few defects found to compare vessels"),
        ("vessels differ by more than chance", (0.79, 0.1),
         "Vessels differ by more than chance, but none is likely to exceed 1.5 times the fleet’s rate"),
        ("vessels differ by more than chance", (0.8, 0.1),
         "Vessel 1 exceeds 1.5 times the fleet’s rate with a chance of 80\u00a0% or more"),
    ],
)  # fmt: skip
def test_no_vessel_is_named_without_evidence(verdict, chances, said):
    vessels = [Row(imo_number=str(n), chance_above=chance) for n, chance in enumerate(chances, 1)]
    assert defect_vessels.state_finding(Row(verdict=verdict), vessels, NAMES) == said


def make_change(**more: object) -> Row:
    numbers = {"findings": 30, "unit_years": 50.0, "findings_before": 15, "unit_years_before": 50.0, "ratio": 2.0, "low": 1.1, "high": 3.9,
               "wide_low": 0.9, "wide_high": 4.4, "verdict": "can not be told from chance"}  # fmt: skip
    return Row(**(numbers | more))


def test_the_year_is_said_with_the_wider_limits():
    text = defect_vessels.say_change([make_change()]).text
    assert text.startswith("No evidence of a change") and "2.00 times the rate (95 % interval 0.90 to 4.40)" in text
    assert defect_vessels.say_change([make_change(verdict="more than the year before")]).text.startswith(
        "The rate of finds has risen"
    )
    assert "too few to tell" in defect_vessels.say_change([make_change(verdict="too few to tell")]).text
    bare = make_change(
        ratio=None, high=None, findings_before=0, wide_low=None, wide_high=None, verdict="more than the year before"
    )
    assert "no upper limit; at least 1.10" in defect_vessels.say_change([bare]).text
    assert defect_vessels.say_change([]).kind == "empty"


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((0.0, 0.0, 0.0, None), "on the day"), ((12.0, 8.0, 30.0, None), "12 days (8 to 30)"), ((1.0, None, None, None), "1 day"),
        ((32.0, 17.0, None, None), "32 days (17 or more)"), ((None, None, None, "fewer than 10 defects"), "too few"),
    ],
)  # fmt: skip
def test_times_to_close_in_words(numbers, said):
    assert defect_lasting.say_days(*numbers) == said


def make_rate(rate: float, low: float, high: float) -> Row:
    return Row(is_rated=True, per_100_unit_years=rate, low=low, high=high)


def test_the_highest_rate_is_claimed_only_where_its_interval_touches_none():
    rows, labels = [make_rate(9, 7, 11), make_rate(5, 4, 6.9), make_rate(4, 3, 5)], ["hose", "pin", "seal"]
    assert defect_rates.compare_top(rows, labels, "x") == "Hose stands above all others: its interval touches none of theirs"
    rows[1].high = 7
    assert (
        defect_rates.compare_top(rows, labels, "x") == "Hose and pin can’t be told apart as the highest: their intervals overlap"
    )
    rows[2].high = 7
    said = "Hose, pin and seal can’t be told apart: their intervals overlap"
    assert defect_rates.compare_top(rows, labels, "the parts") == said
    more = [*rows, make_rate(4, 3, 8)], [*labels, "head"]
    assert (
        defect_rates.compare_top(*more, "the parts")
        == "Parts with enough found to rate can’t be told apart: their intervals overlap"
    )
    less = [*more[0], make_rate(1, 0.5, 2)], [*more[1], "gauge"]
    assert defect_rates.compare_top(*less, "x") == "Hose and 3 others can’t be told apart as the highest: their intervals overlap"


def make_kinds(number: int) -> list[Row]:
    """Kinds with all that the chart reads, most found first; none is first by more than chance."""
    return [
        Row(component=f"part{n:02}", defect="damaged", findings=40 - n, share=(40 - n) / 400, low=0.01, high=0.3, chance_first=0.1,
            chance_top3=0.2, is_ranked=True, is_first=False, tied_with=["x"], clusters=6, clustered_by="vessels", why_not=None)
        for n in range(number)
    ]  # fmt: skip


def test_the_twin_of_the_first_kinds_is_what_is_drawn_and_the_others_have_their_own():
    kinds = make_kinds(15)
    chart, (rest,) = defect_pareto.chart_pareto(kinds, NO_LISTS), defect_pareto.list_rarer(kinds, NO_LISTS)
    (bars, *_) = chart.figure["data"]
    assert len(chart.table.rows) == len(bars["x"]) == 12 and [row[2][0] for row in chart.table.rows] == bars["x"]
    assert bars["type"] == "bar" and [row[0] for row in rest.rows] == [f"part{n} damaged" for n in (12, 13, 14)]
    assert "12 kinds found most often, of 15" in chart.summary and defect_pareto.list_rarer(make_kinds(12), NO_LISTS) == ()


@pytest.mark.parametrize(
    ("kinds", "said"),
    [
        ([], "No defect was found in the last 12 months, so no kind comes first."),
        ([make_kind("hose", 0.95, is_first=True)], "That hose damaged comes first is more than chance: set against each other kind, vessel by vessel, the 95 % limits of the difference leave out none. It leads in 95\u00a0% of fleets"),
        (make_kinds(2), "Which kind comes first can’t be told: the difference between the first and another is within chance."),
        ([Row(is_first=False, why_not="all found are uncoded")], "Which kind comes first can’t be told: all found are uncoded."),
    ],
)  # fmt: skip
def test_whether_the_first_place_is_real(kinds, said):
    assert defect_pareto.tell_first(kinds).text.startswith(said)
