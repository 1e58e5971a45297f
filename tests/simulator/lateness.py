"""Who is overdue, counted apart from the pipeline. In: canonical columns and a day. Out: unit ids overdue by duty.

A second, plain reading of the rule book's three unit duties (monthly check, annual service, ten-yearly pressure test), so
that the simulator can be tuned and tested alone.
"""

from __future__ import annotations

from .calendar_days import add_months, count_day, write_days

MONTHS = {"onboard_check": 1, "annual_service": 12, "pressure_test": 120}


def list_done(fleet: list[dict], day: str) -> dict[tuple[str, str], str]:
    """Last day on or before `day` on which each duty of each unit was done, on any vessel."""
    done: dict[tuple[str, str], str] = {}

    def note(duty: str, unit: str, on: str) -> None:
        if on <= day:
            done[duty, unit] = max(done.get((duty, unit), ""), on)

    for tables in fleet:
        look, work = tables["inspection"], tables["service"]
        for unit, on, outcome in zip(look["unit_id"], look["inspected_on"], look["outcome"], strict=True):
            if outcome == "satisfactory":
                note("onboard_check", unit, on)
        for unit, on, kind, outcome in zip(*(work[c] for c in WORK_COLUMNS), strict=True):
            if outcome == "satisfactory":
                note("onboard_check", unit, on)
                if kind in ("annual_service", "pressure_test"):
                    note("annual_service", unit, on)
                if kind == "pressure_test":
                    note("pressure_test", unit, on)
    return done


def count_overdue(tables: dict, done: dict, day: str) -> tuple[int, dict[str, set[str]]]:
    """Units of a vessel in service on `day` (no spares, none ashore), and who of them is overdue on each duty."""
    basis: dict[str, dict[str, str]] = {duty: {} for duty in MONTHS}
    for unit, made, since, removed, spare, landed, back in zip(*(tables["unit"][c] for c in UNIT_COLUMNS), strict=True):
        ashore = landed and landed <= day and (not back or back > day)
        if since <= day and (not removed or removed > day) and spare != "true" and not ashore:
            basis["onboard_check"][unit] = basis["annual_service"][unit] = since
            basis["pressure_test"][unit] = made
    late = {}
    for duty, months in MONTHS.items():
        bases = {unit: done.get((duty, unit), first) for unit, first in basis[duty].items()}
        late[duty] = {u for u, b in bases.items() if b and write_days([add_months(count_day(b), months)])[0] < day}
    return len(basis["annual_service"]), late


WORK_COLUMNS = ("unit_id", "serviced_on", "kind", "outcome")
UNIT_COLUMNS = ("unit_id", "made_on", "in_service_on", "removed_on", "is_spare", "landed_from", "landed_to")
