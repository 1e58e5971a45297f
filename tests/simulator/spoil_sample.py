"""Which faults the sample exports hold, and where. In: path -> clean `Sheet`, units. Out: notes for the README."""

from __future__ import annotations

from copy import deepcopy

from .blemishes import (
    STRANGE_IMO,
    add_conflict,
    add_extra,
    add_open_quote,
    add_ragged,
    date_before_made,
    find_base,
    full_row,
    misread_cell,
    repeat_records,
)
from .sample_sheets import later
from .sheets import Record, Row, Sheet

Book = dict[str, Sheet]


def spoil_canonical(book: Book, made: dict[str, str]) -> None:
    """Faults in the canonical files of Brindlemoor and Quillhaven."""
    sheet = book["canonical/2022/inspection.csv"]
    repeat_records(sheet, [40, 41, 300])
    misread_cell(sheet, "inspection", 60, "inspected_on", "2022-02-30", "impossible-date")
    misread_cell(sheet, "inspection", 120, "outcome", "ok", "unknown-word")
    misread_cell(sheet, "inspection", 200, "unit_id", "", "required-missing")
    add_extra(sheet, "inspection", 250, "unknown-unit", {"unit_id": "VOR-190001"})
    add_conflict(sheet, "inspection", 320, "outcome", "no_access")
    add_ragged(sheet, 400, 2)
    sheet = book["canonical/2023/inspection.csv"]
    date_before_made(sheet, "inspection", 100, made)
    add_extra(sheet, "inspection", 180, "after-receipt", {"inspected_on": "2032-03-04"})
    add_extra(sheet, "inspection", 260, "unknown-vessel", {"imo_number": STRANGE_IMO})
    add_open_quote(sheet, 500, "remarks", "seal looks worn, see next round")
    sheet = book["canonical/2023/finding.csv"]
    misread_cell(sheet, "finding", 3, "rusted_area_pct", "140", "out-of-range", {"component": "shell", "defect": "other"})
    misread_cell(sheet, "finding", 6, "defect", "scratched", "unknown-word")
    sheet = book["canonical/vessel.csv"]
    add_extra(sheet, "vessel", 0, "imo-check-digit", {"imo_number": "0001017", "vessel_name": "Brindlemoor (typing error)"})
    add_extra(sheet, "vessel", 3, "bad-pattern", {"imo_number": "0001078", "vessel_name": "Ombrelow", "flag": "X-A"})
    sheet = book["canonical/register_2026-10/unit.csv"]
    change = {"unit_id": "VOR-190002", "wall_mm": "150", "removed_on": "", "removal_reason": ""}
    add_extra(sheet, "unit", 12, "out-of-range", change)


def spoil_osten(book: Book, made: dict[str, str]) -> None:
    """Faults in the check sheets of Osterwick and Vellamora."""
    sheet = book["osten/pruefung_2022.csv"]
    misread_cell(sheet, "inspection", 80, "Datum", "31.02.2022", "impossible-date")
    misread_cell(sheet, "inspection", 150, "Ergebnis", "gut?", "unknown-word")
    misread_cell(sheet, "inspection", 151, "Ergebnis", "siehe Rückseite", "unknown-word")
    add_extra(sheet, "inspection", 300, "unknown-unit", {"unit_id": "ASQ-190003"})
    add_extra(sheet, "inspection", 700, "unknown-unit", {"unit_id": "ASQ-10O086"})
    add_ragged(sheet, 500, 0)
    sheet = book["osten/pruefung_2024.csv"]
    misread_cell(sheet, "inspection", 90, "Datum", "", "required-missing")
    add_conflict(sheet, "inspection", 210, "outcome", "no_access")
    add_extra(sheet, "inspection", 400, "after-receipt", {"inspected_on": "2042-05-06"})
    date_before_made(sheet, "inspection", 600, made)


def spoil_crews(book: Book) -> None:
    """Faults in the log of Tarnholt and the check lists of Kestrindrift."""
    sheet = book["calder/log_2023.csv"]
    misread_cell(sheet, "inspection", 70, "Date", "14/03/2023", "impossible-date")
    misread_cell(sheet, "inspection", 140, "Status", "So-so", "unknown-word")
    add_extra(sheet, "inspection", 210, "unknown-unit", {"unit_id": "TMB-190004"})
    place, base = find_base(sheet, "inspection", 280)
    memo = sheet.records[place].cells | {"Entry": "Memo", "Status": "", "Note": "new padlocks ordered"}
    sheet.records.insert(place + 1, Record(memo, [Row("inspection", {}, "no-table")]))
    sheet = book["calder/log_2025.csv"]
    add_ragged(sheet, 60, 3)
    add_extra(sheet, "inspection", 200, "after-receipt", {"inspected_on": "2035-02-11"})
    add_open_quote(sheet, 300, "Note", "pin bent 2 in")
    sheet = book["kestrin/checklist_2022.csv"]
    misread_cell(sheet, "inspection", 33, "Tag", "", "required-missing")
    record = sheet.records[find_base(sheet, "inspection", 150)[0]]
    record.cells["Bracket"] = "wobbly"
    record.rows.append(Row("finding", {}, "unknown-word"))
    sheet = book["kestrin/checklist_2024.csv"]
    misread_cell(sheet, "inspection", 200, "Date", "31 Apr 2024", "impossible-date")
    overlap_last_round(book["kestrin/checklist_2023.csv"], sheet)


def overlap_last_round(earlier: Sheet, sheet: Sheet) -> None:
    """The later sheet begins with the last round of the earlier one."""
    last = max(r.rows[0].told["inspected_on"] for r in earlier.records if len(r.rows) == 1)
    again = [r for r in earlier.records if len(r.rows) == 1 and r.rows[0].told["inspected_on"] >= later(last, -2)]
    sheet.records[:0] = [Record(dict(r.cells), [Row(x.table, x.told) for x in r.rows]) for r in again]


def spoil_providers(book: Book, made: dict[str, str]) -> None:
    """Faults in the providers' files."""
    sheet = book["skellan/service_2022.csv"]
    misread_cell(sheet, "service", 10, "Masse (kg)", "ca. 12", "not-a-number")
    misread_cell(sheet, "service", 25, "Masse (kg)", "14.7", "not-a-number")
    misread_cell(sheet, "service", 40, "Masse (kg)", "900", "out-of-range")
    misread_cell(sheet, "service", 55, "Wand (mm)", "150,0", "out-of-range")
    add_extra(sheet, "service", 60, "unknown-vessel", {"imo_number": STRANGE_IMO})
    add_extra(sheet, "service", 70, "unknown-vessel", {"imo_number": STRANGE_IMO})
    place, _ = find_base(sheet, "service", 45)
    note = sheet.records[place].cells | {"Tätigkeit": "Notiz", "Ergebnis": "-", "Masse (kg)": "-"}
    sheet.records.insert(place + 1, Record(note, [Row("service", {}, "no-table")]))
    sheet = book["skellan/service_2023.csv"]
    add_conflict(sheet, "service", 20, "mass_kg", "11.9")
    date_before_made(sheet, "service", 50, made)
    misread_cell(sheet, "service", 70, "Ergebnis", "fast bestanden", "unknown-word")
    sheet = book["marrowind/service_2024.csv"]
    misread_cell(sheet, "service", 15, "Gauge (psi)", "9999", "out-of-range")
    misread_cell(sheet, "service", 45, "Date", "02/30/2024", "impossible-date")
    add_extra(sheet, "service", 75, "unknown-unit", {"unit_id": "TMB-190005"})
    add_extra(sheet, "service", 95, "after-receipt", {"serviced_on": "2033-07-01"})
    sheet = book["dunvarra/service_2024.csv"]
    misread_cell(sheet, "service", 20, "examination", "perhaps", "not-a-boolean")
    misread_cell(sheet, "service", 60, "work", "", "required-missing")
    misread_cell(sheet, "service", 100, "work", "polish", "unknown-word")
    add_ragged(sheet, 130, 1)
    date_before_made(sheet, "service", 160, made)
    sheet = book["dunvarra/service_2026.csv"]
    add_extra(sheet, "service", 30, "unknown-vessel", {"imo_number": STRANGE_IMO})
    add_conflict(sheet, "service", 90, "outcome", "unsatisfactory")


def add_doubtful(book: Book) -> dict[str, int]:
    """Rows that are loaded with a warning. Returns how many of each kind, by the words of the README."""
    stays = [r.rows[0].told for path in book if "register_2026-10" in path for r in book[path].records if not r.rows[0].rule]
    gone = [s for s in stays if s["removal_reason"] in ("condemned", "replaced")]
    sheet = book["canonical/2024/inspection.csv"]
    home = {record.rows[0].told["imo_number"] for record in sheet.records}
    late = [s for s in gone if s["imo_number"] in home and "2023-11-05" < s["removed_on"] < "2024-10-01"][:3]
    _, base = find_base(sheet, "inspection", 0)
    for stay in late:
        told = {"unit_id": stay["unit_id"], "imo_number": stay["imo_number"], "inspected_on": later(stay["removed_on"], 12)}
        sheet.add(("inspection", full_row(sheet, "inspection", base) | told))
    sheet, stated = book["skellan/service_2025.csv"], 0
    for record in sheet.records:
        row = record.rows[0].told
        if stated < 5 and row.get("stated_next_due_on") and row["serviced_on"][5:] != "02-29":
            row["stated_next_due_on"] = f"{int(row['serviced_on'][:4]) + 2}{row['serviced_on'][4:]}"
            record.cells["Nächste Wartung"] = ".".join(reversed(row["stated_next_due_on"].split("-")))
            stated += 1
    return {"checks of a unit after it was removed": len(late), "next-due dates that differ from the rule's": stated}


def spoil_registers(units: dict[str, list[dict[str, str]]]) -> dict[str, int]:
    """Doubtful register entries, changed before the registers are written: masses, and one overlapping transfer."""
    heavy = [row for row in units["osten"] if row["agent"] == "powder" and row["form"] == "portable"][4:7]
    for row in heavy:
        row["full_mass_kg"] = f"{float(row['full_mass_kg']) + 3:.1f}"
    moved = [row for some in units.values() for row in some if row["removal_reason"] == "transferred"]
    arrived = {(row["unit_id"], row["in_service_on"]) for some in units.values() for row in some}
    over = next(row for row in moved if (row["unit_id"], row["removed_on"]) in arrived and row["removed_on"] > "2021-02")
    over["removed_on"] = later(over["removed_on"], 6)
    return {"register entries whose masses do not add up": len(heavy), "units on two vessels for some days": 1}


def add_late_files(book: Book) -> None:
    """A correction that restates earlier rows, and the same file under another name."""
    source = book["osten/pruefung_2023.csv"]
    sheet = book["osten/pruefung_2023_korrektur.csv"] = Sheet(
        "osten/pruefung_2023_korrektur.csv", "2024-01-15", source.style, [], list(source.head), source.foot
    )
    for n in range(8):
        place, told = find_base(source, "inspection", 100 + 90 * n)
        change = {"outcome": "no_access"} if n < 3 else {"inspector_role": "third mate"}
        sheet.add(("inspection", told | {"remarks": "korrigiert"} | change))
    original = book["skellan/service_2024.csv"]
    path = "skellan/service_2024_kopie.csv"
    book[path] = Sheet(path, "2025-01-10", original.style, deepcopy(original.records), list(original.head), original.foot)


def drop_from_register(book: Book) -> dict[str, int]:
    """A unit that the last full register of Kestrindrift lacks, though nobody removed it."""
    sheet = book["kestrin/register_2026-10.csv"]
    earlier = {record.rows[0].told["unit_id"] for record in book["kestrin/register_2023-10.csv"].records}
    there = [r for r in sheet.records if r.rows[0].told["unit_id"] in earlier and not r.rows[0].told["removed_on"]]
    sheet.records.remove(there[20])
    return {"units that the last full register lacks": 1}


CORRECTED = ("kestrin/checklist_2024.csv", "Date", "31 Apr 2024", "30 Apr 2024", "2024-04-30")


def correct_cell(book: Book) -> list[tuple]:
    """The lines of corrections.csv: one impossible date, put right by declaration, so that its row is loaded."""
    path, header, was, to, day = CORRECTED
    places = [n for n, record in enumerate(book[path].records, start=1) if record.cells.get(header) == was]
    record = book[path].records[places[0] - 1]
    record.rows = [Row(row.table, row.told | {"inspected_on": day}) for row in record.rows]
    said = ("the round began on 30 April; the crew confirmed it", "technical superintendent", "2024-11-18")
    return [("file", "record", "column", "from", "to", "why", "who", "on"), (path, places[0], header, was, to, *said)]


def spoil_book(book: Book, units: list[dict[str, str]]) -> dict[str, int]:
    """Add every fault. Returns the doubtful rows by kind."""
    made = {row["unit_id"]: row["made_on"] for row in units if row["made_on_precision"] == "day"}
    doubtful = add_doubtful(book)
    add_late_files(book)
    spoil_canonical(book, made)
    spoil_osten(book, made)
    spoil_crews(book)
    spoil_providers(book, made)
    return doubtful | drop_from_register(book)
