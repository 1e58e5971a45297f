"""A survey of October 2026 aboard two vessels of the sample: a case of each verdict. In: the book of sheets and the units aboard.

Rows of the register and the fire plan are stated again with one thing changed; looks and work are added. Nothing here changes when
a duty was done, so that the truth about lateness stays what it was.
"""

from __future__ import annotations

from collections.abc import Callable

from .blemishes import full_row
from .parameters import PROVIDERS
from .sheets import Sheet
from .styles import plain_style

RECEIVED, DAY = "2026-11-04", "2026-10-20"
FOLDER = "canonical/survey_2026-10"


class _Shelf:
    """Units aboard of which each is taken once."""

    def __init__(self, rows: list[dict]):
        self.rows = [
            r for r in rows if not r["removed_on"] and r["is_spare"] == "false" and not r["landed_to"] and not r["landed_from"]
        ]

    def take(self, fits: Callable[[dict], bool]) -> dict:
        row = next(row for row in self.rows if fits(row))
        self.rows.remove(row)
        return row


def show_verdicts(book: dict[str, Sheet], units: list[dict], imo_number: str, other_imo: str) -> None:
    """Add the survey's five files to the book."""
    columns = {"unit": [*units[0], "colour_zone"]}
    for table, path in (("inspection", "2026/inspection"), ("finding", "2026/finding"), ("service", "history/service"),
                        ("station", "station"), ("spare", "spare")):  # fmt: skip
        columns[table] = book[f"canonical/{path}.csv"].headers
    sheets = {t: Sheet(f"{FOLDER}/{t}.csv", RECEIVED, plain_style(t, names)) for t, names in columns.items()}

    def add(table: str, **told: str) -> None:
        sheets[table].add((table, full_row(sheets[table], table, {}) | told))

    shelf = _Shelf([row for row in units if row["imo_number"] == imo_number])
    _move_units(add, shelf)
    _look_and_work(add, shelf)
    _shrink_station(add, book, imo_number)
    _state_due(add, book)
    for agent, size in (("powder", {"charge_kg": "6"}), ("foam", {"charge_l": "9"}), ("water", {"charge_l": "9"})):
        add("spare", imo_number=other_imo, counted_on=DAY, agent=agent, spare_charges="0", **size)
    book |= {sheet.path: sheet for sheet in sheets.values()}


def _move_units(add: Callable, shelf: _Shelf) -> None:
    """Wrong places, colours, masses and stations."""
    is_kind = {"agent": "co2"}, {"agent": "foam"}, {"agent": "powder"}, {"agent": "water"}
    co2, foam, powder, water = (
        lambda row, kind=kind: row["form"] == "portable" and row["agent"] == kind["agent"] for kind in is_kind
    )
    add("unit", **shelf.take(co2) | {"space_name": "Crew mess", "space_category": "accommodation", "colour_zone": "black"})
    add("unit", **shelf.take(foam) | {"colour_zone": "blue"})
    add("unit", **shelf.take(foam) | {"space_name": "Radio room", "space_category": "control_station", "colour_zone": "cream"})
    add("unit", **shelf.take(powder) | {"full_mass_kg": "23.4"})
    first, second, wet = shelf.take(powder), shelf.take(powder), shelf.take(water)
    place = ("position_no", "space_name", "space_category")
    add("unit", **second | {name: first[name] for name in place})
    add("unit", **wet | {name: second[name] for name in place} | {"colour_zone": "red"})


def _look_and_work(add: Callable, shelf: _Shelf) -> None:
    """Failed tests, repairs that condemn, losses, a unit found discharged."""

    def take(agent: str, expelled_by: str = "") -> dict:
        drives = {expelled_by} if expelled_by else {"cartridge", "stored_pressure", "self_pressure"}
        row = shelf.take(lambda row: (row["agent"], row["form"]) == (agent, "portable") and row["expelled_by"] in drives)
        return {"unit_id": row["unit_id"], "imo_number": row["imo_number"]}

    shop = {"provider": PROVIDERS[1].name, "serviced_on": DAY, "certificate_no": "SV-2610"}
    add("service", **take("powder"), **shop, kind="pressure_test", outcome="unsatisfactory", proof_pressure_bar="20")
    add("service", **take("co2"), **shop, kind="cartridge_check", outcome="satisfactory", mass_kg="14.2")
    add("service", **take("powder", "cartridge"), **shop, kind="cartridge_check", outcome="unsatisfactory",
        cartridge_mass_kg="0.35", cartridge_nominal_kg="0.42")  # fmt: skip
    seen = {"found_on": DAY, "found_by": "service", "severity": "unfit"}
    add(
        "finding",
        **take("foam"),
        **seen,
        component="shell",
        defect="damaged",
        action="crack in the base welded over in a yard",
        closed_on="2026-10-22",
    )
    add("finding", **take("powder"), **seen, component="head", defect="damaged", action="thread of the neck worn")
    add("finding", **take("foam"), **seen, component="lining", defect="lining_failed", action="lining lifts at the seam")
    add("finding", **take("powder"), **seen, component="charge", defect="missing", action="found empty after a drill")
    add("finding", **take("foam"), **seen | {"severity": "major"}, component="label", defect="missing", action="")
    add("inspection", **take("powder"), inspected_on="2026-10-24", outcome="unsatisfactory", inspector_role="superintendent",
        remarks="lever bent, taken out of use")  # fmt: skip


def _shrink_station(add: Callable, book: dict[str, Sheet], imo_number: str) -> None:
    """The fire plan, drawn again, asks more at one station than hangs there."""
    plan = [record.rows[0].told for record in book["canonical/station.csv"].records]
    row = next(
        r
        for r in reversed(plan)
        if r["imo_number"] == imo_number and r["required_agent"] == "powder" and r["required_charge_kg"] == "6"
    )
    add("station", **row | {"required_charge_kg": "12"})


def _state_due(add: Callable, book: dict[str, Sheet]) -> None:
    """The last check on record, stated again with a next date two months on."""
    told = [record.rows[0].told for record in book["canonical/2026/inspection.csv"].records]
    last = max((row for row in told if row["outcome"] == "satisfactory"), key=lambda row: (row["inspected_on"], row["unit_id"]))
    add("inspection", **last | {"stated_next_due_on": "2026-12-20"})
