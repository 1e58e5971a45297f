"""The opening of the Defects page.

In: rows of figure.defect_rate and defect_vessel, and the number of reports left out. Out: markup.
"""

from __future__ import annotations

from markupsafe import Markup

from dashboards import words
from dashboards.blocks import Context
from dashboards.pages.defect_rates import PERIOD, Row, name_kind, pick_rows
from dashboards.pages.list_found import name_found


def say_left_out(count: int) -> str:
    """Reports of defects that no rate counts, and why."""
    if not count:
        return ""
    return (
        f" {words.say_capital(words.say_count(count, 'report'))} {words.say_verb(count, 'is', 'are')} left out, on spare units or "
        "on vessels that weren't in the fleet."
    )


def say_fleet_rate(fleet: Row, limits: Row) -> str:
    """The rate with the limits that stand among the vessels: as wide as these differ, where they differ by more than chance."""
    allows = ", which allows for how much vessels differ" if getattr(limits, "interval_by", "") == "quasi-Poisson" else ""
    return (
        f"{words.say_number(fleet.per_100_unit_years, 1)} per 100 unit-years (95 % interval {words.say_number(limits.low, 1)} to "
        f"{words.say_number(limits.high, 1)}{allows})"
    )


def write_answer(rows: list[Row], vessels: list[Row], left_out: int, context: Context) -> str:
    """How much is found, and of what most."""
    fleet = next(iter(pick_rows(rows)), None)
    kinds = [r for r in pick_rows(rows, "component", "defect") if r.findings]
    day = words.say_date(context.as_of)
    if fleet is None or not kinds:
        return (
            f"In the twelve months to {day} no defect is on record, over {words.say_number(fleet.unit_years if fleet else 0, 1)} "
            f"unit-years under observation.{say_left_out(left_out)}{context.empty_why}"
        )
    whole = next((r for r in vessels if r.imo_number == "*" and r.low is not None), fleet)
    rate = f", {say_fleet_rate(fleet, whole)}" if fleet.is_rated else ", too few to rate"
    return Markup(
        "In the twelve months to {} <strong>{}</strong> {} found on units under observation, in {} unit-years{}. "
        "Found most often: {} ({} of {}).{}"
    ).format(
        day,
        Markup("{} {}").format(
            context.say_count(fleet.findings, name_found("found", PERIOD)), "defect" if fleet.findings == 1 else "defects"
        ),
        words.say_verb(fleet.findings, "was", "were"),
        words.say_number(fleet.unit_years),
        rate,
        name_kind(kinds[0]),
        context.say_count(kinds[0].findings, name_found("found", PERIOD, "kind", f"{kinds[0].component}|{kinds[0].defect}")),
        words.say_number(fleet.findings),
        say_left_out(left_out),
    )
