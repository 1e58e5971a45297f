"""The clean sample sheets, before any blemish. In: `Life` of the six vessels. Out: path -> `Sheet`."""

from __future__ import annotations

from bisect import bisect_left
from pathlib import Path

from .calendar_days import count_day, write_days
from .draws import Draws
from .life import Life
from .office import write_spares, write_stations, write_vessels
from .parameters import PROVIDERS
from .sample_fleet import ASHORE, CALDER, CANONICAL, END, FLEET, KESTRIN, OSTEN, SEED, START
from .sheets import Sheet
from .styles import plain_style, read_styles
from .tables import build_tables, index_vessels
from .write_canonical import close_periods, divide_periods

DIALECTS = Path(__file__).parent / "dialects"
FIRSTS = divide_periods(START, END)
LASTS = write_days(close_periods(FIRSTS, END))
RANK = {"minor": 0, "major": 1, "unfit": 2}
OSTEN_HEAD = ["Monatliche Prüfung der Feuerlöscher", "Blatt für die Reederei", ""]
REGISTER_DAYS = ("2020-11-01", "2023-10-31", "2026-10-31")
SERVICE_FILES = (
    ("Skellan Wartung", "skellan", "skellan-service", 1),
    ("Marrowind Technical", "marrowind", "marrowind-service", 2),
    ("Dunvarra Works", "dunvarra", "dunvarra-service", 2),
)


def later(day: str, days: int) -> str:
    """A day some days later."""
    return write_days([count_day(day) + days])[0]


def list_rows(columns: dict[str, list[str]]) -> list[dict[str, str]]:
    """Columns as rows."""
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def find_period(day: str) -> int:
    """Number of the year (1 to 6, ending in October) of a day; the last round before the first year counts in it."""
    return max(1, bisect_left(FIRSTS, day + "~"))


def date_period(period: int) -> int:
    """The calendar year in which a period ends."""
    return int(LASTS[period][:4])


def state_finding(row: dict) -> list[tuple[int, dict]]:
    """(period, row): open in the year it was found, restated when it is closed in a later one."""
    period = find_period(row["found_on"])
    if not row["closed_on"] or row["closed_on"] <= LASTS[period]:
        return [(period, row)]
    return [(period, row | {"closed_on": "", "action": ""}), (find_period(row["closed_on"]), row)]


def pair_looks(tables: dict) -> list[tuple[int, list[tuple[str, dict]]]]:
    """(period, record): a check and its gravest finding, restated when the finding is closed in a later year."""
    worst: dict[tuple[str, str], dict] = {}
    for row in sorted(list_rows(tables["finding"]), key=lambda r: RANK[r["severity"]]):
        worst[row["unit_id"], row["found_on"]] = row
    records = []
    for look in list_rows(tables["inspection"]):
        found = worst.get((look["unit_id"], look["inspected_on"]))
        if not found:
            records.append((find_period(look["inspected_on"]), [("inspection", look)]))
            continue
        records += [(period, [("inspection", look), ("finding", row)]) for period, row in state_finding(found)]
    return records


def log_entries(tables: dict) -> list[tuple[int, list[tuple[str, dict]]]]:
    """(period, record): checks and findings as entries of their own."""
    looks = [(find_period(r["inspected_on"]), [("inspection", r)]) for r in list_rows(tables["inspection"])]
    return looks + [(p, [("finding", r)]) for row in list_rows(tables["finding"]) for p, r in state_finding(row)]


def date_record(record: list[tuple[str, dict]]) -> tuple[str, str, str]:
    """Sort key of a record: day, table, unit."""
    table, row = record[0]
    return row[{"inspection": "inspected_on", "finding": "found_on", "service": "serviced_on"}[table]], table, row["unit_id"]


def add_yearly(book: dict, name: str, style: dict, entries: list, head: list[str] | None = None, years: int = 1) -> None:
    """Sheets of one, two or more years each; `name` holds {year}."""
    spread: dict[int, list] = {}
    for period, record in entries:
        spread.setdefault(-(-period // years) * years, []).append(record)
    for period in sorted(spread):
        path = name.format(year=date_period(period))
        foot = "Summe;{count}" if style.get("skip_foot") else ""
        sheet = book[path] = Sheet(path, later(LASTS[period], 2 + len(path) % 3), style, [], list(head or []), foot)
        for record in sorted(spread[period], key=date_record):
            sheet.add(*record)


def add_registers(book: dict, name: str, style: dict | None, rows: list[dict], head: list[str] | None = None) -> None:
    """Full register dumps as they stood on three days."""
    for day in REGISTER_DAYS:
        path = name.format(month=day[:7])
        sheet = book[path] = Sheet(path, later(day, 2), style or plain_style("unit", list(rows[0])), head=list(head or []))
        for row in sorted(rows, key=lambda r: (r["imo_number"], r["position_no"], r["in_service_on"])):
            if row["in_service_on"] <= day:
                hidden = {n: "" for n in ("removed_on", "landed_from", "landed_to") if row[n] > day}
                if "removed_on" in hidden:
                    hidden["removal_reason"] = ""
                sheet.add(("unit", row | hidden))


def add_services(book: dict, styles: dict, fleet: list[dict]) -> None:
    """The last services before the window in one history file, the rest in the providers' files."""
    work = [row for tables in fleet for row in list_rows(tables["service"])]
    by_visit = {(row["unit_id"], row["serviced_on"]): row["provider"] for row in work}
    history = book["canonical/history/service.csv"] = Sheet("canonical/history/service.csv", "2020-11-03",
                                                            plain_style("service", list(work[0])))  # fmt: skip
    for row in sorted(work, key=lambda r: (r["serviced_on"], r["unit_id"], r["kind"])):
        if row["serviced_on"] < FIRSTS[0]:
            history.add(("service", row))
    found = [row for tables in fleet for row in list_rows(tables["service_finding"])]
    for provider, folder, style, years in SERVICE_FILES:
        entries = [(find_period(r["serviced_on"]), [("service", state_due(r))]) for r in work
                   if r["provider"] == provider and r["serviced_on"] >= FIRSTS[0]]  # fmt: skip
        entries += [(find_period(r["found_on"]), [("finding", r)]) for r in found
                    if by_visit[r["unit_id"], r["found_on"]] == provider]  # fmt: skip
        head = ["Skellan Wartung - Sammelblatt Feuerlöscher"] if folder == "skellan" else None
        add_yearly(book, folder + "/service_{year}.csv", styles[style], entries, head, years)


def state_due(row: dict) -> dict:
    """A provider's row with the next-due date that Skellan prints: a year after a passed annual service."""
    if row["provider"] != PROVIDERS[0].name or row["kind"] != "annual_service" or row["outcome"] != "satisfactory":
        return row
    year, rest = int(row["serviced_on"][:4]), row["serviced_on"][4:]
    return row | {"stated_next_due_on": f"{year + 1}{'-02-28' if rest == '-02-29' else rest}"}


def add_office(book: dict, life: Life) -> None:
    """Fleet list, fire plans and counts of spare charges."""
    columns = write_vessels(FLEET, START)
    sheet = book["canonical/vessel.csv"] = Sheet("canonical/vessel.csv", "2020-11-02", plain_style("vessel", list(columns)))
    for number, row in enumerate(list_rows(columns)):
        unknown = ("laid_up_from", "laid_up_to", *(("lowest_air_temp_c",) if number in CALDER else ()))
        sheet.add(("vessel", row | dict.fromkeys(unknown, "")))
    path = "canonical/lay_up/vessel.csv"
    sheet = book[path] = Sheet(path, "2022-12-01", plain_style("vessel", list(columns)))
    for row in list_rows(columns):
        if row["laid_up_from"]:
            sheet.add(("vessel", row))
    for table, write in (("station", write_stations), ("spare", lambda one, v: write_spares(one, v, Draws(SEED, 5, v)))):
        rows = [row for v in range(len(FLEET)) for row in list_rows(write(life, v))]
        received = "2020-11-04" if table == "station" else "2026-11-02"
        sheet = book[f"canonical/{table}.csv"] = Sheet(f"canonical/{table}.csv", received, plain_style(table, list(rows[0])))
        for row in rows:
            sheet.add((table, row))


def group_tables(life: Life) -> tuple[list[dict], dict[str, list[dict]]]:
    """Canonical tables of the six vessels, and their register rows by the style that writes them."""
    ranges = index_vessels(life, SEED)
    fleet = [build_tables(ranges, v) for v in range(len(FLEET))]
    for v in ASHORE:
        land_one(fleet[v])
    part = {"canonical": CANONICAL, "osten": OSTEN, "calder": CALDER, "kestrin": KESTRIN}
    return fleet, {name: [row for v in numbers for row in list_rows(fleet[v]["unit"])] for name, numbers in part.items()}


def land_one(tables: dict) -> None:
    """Send one unit of a vessel ashore for service in the last days, not back yet."""
    unit, look = tables["unit"], tables["inspection"]
    at = next(n for n, gone in enumerate(unit["removed_on"]) if not gone and unit["is_spare"][n] == "false")
    last = max(d for u, d in zip(look["unit_id"], look["inspected_on"], strict=True) if u == unit["unit_id"][at])
    unit["landed_from"][at], unit["landed_to"][at] = min(later(last, 2), LASTS[-1]), ""


def build_book(life: Life, fleet: list[dict], units: dict[str, list[dict]]) -> dict[str, Sheet]:
    """Every sheet of the sample, still without faults."""
    styles, book = read_styles(DIALECTS), {}
    add_office(book, life)
    add_registers(book, "canonical/register_{month}/unit.csv", None, units["canonical"])
    add_registers(book, "osten/register_{month}.csv", styles["osten-register"], units["osten"], ["Feuerlöscher - Register", ""])
    add_registers(book, "calder/register_{month}.csv", styles["calder-register"], units["calder"])
    add_registers(book, "kestrin/register_{month}.csv", styles["kestrin-register"], units["kestrin"])
    for table in ("inspection", "finding"):
        style = plain_style(table, list(fleet[0][table]))
        entries = [e for v in CANONICAL for e in log_entries(fleet[v]) if e[1][0][0] == table]
        add_yearly(book, "canonical/{year}/" + table + ".csv", style, entries)
    osten = [e for v in OSTEN for e in pair_looks(fleet[v])]
    add_yearly(book, "osten/pruefung_{year}.csv", styles["osten-checks"], osten, OSTEN_HEAD)
    add_yearly(book, "calder/log_{year}.csv", styles["calder-log"], log_entries(fleet[CALDER[0]]))
    add_yearly(book, "kestrin/checklist_{year}.csv", styles["kestrin-checklist"], pair_looks(fleet[KESTRIN[0]]))
    add_services(book, styles, fleet)
    vessel = list_rows(write_vessels(FLEET, START))[CALDER[0]]
    sheet = book["calder/particulars.csv"] = Sheet("calder/particulars.csv", "2020-11-20", styles["calder-particulars"])
    sheet.add(("vessel", vessel))
    return book
