"""Everything that was found, put together. In: a sheet. Out: a `Plan`."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

from pipeline import contract
from pipeline.contract import Column
from pipeline.learn.assign import Assignment, Match
from pipeline.learn.ignored import list_ignored
from pipeline.learn.kinds import find_kinds
from pipeline.learn.plan import Choice, ColumnPlan, FeedPlan, Plan
from pipeline.learn.pressure import settle_pressure
from pipeline.learn.profile import Profile, is_imo_number, profile_sheet
from pipeline.learn.rows import When, find_when
from pipeline.learn.score import score_all
from pipeline.learn.settle import (
    describe_dates,
    find_other_thousands,
    settle_dates,
    settle_marks,
    settle_suffixes,
    settle_unit,
    settle_words,
)
from pipeline.learn.sheet import Sheet
from pipeline.learn.tables import assign_headers, kind_of_day, says_the_kind
from pipeline.learn.vocabulary import read_data
from pipeline.learn.wide import find_wide, plan_wide

MOSTLY = 0.8
NUMBERS = ("decimal", "integer")
# A valid number in a range that, as far as we know, is given to no ship: a dry run takes it where the vessel is not settled.
STAND_IN_IMO = "9999993"


def make_plan(sheet: Sheet, name: str, about: str, files: tuple[str, ...], names: list[str]) -> Plan | None:
    """Propose a whole dialect; None where no header is told. `names` are file names, which may hold an IMO number."""
    profiles = profile_sheet(sheet)
    wide = find_wide(profiles)
    assignment, whens = _assign(sheet, profiles, wide, names)
    if not assignment.matches:
        return None
    dates, dates_why = settle_dates([p.dates for p in _dated(assignment, profiles) if p.dates])
    decimal, thousands, marks_why = settle_marks(_numbers(assignment, profiles))
    thousands_why = "parts the thousands of long numbers"
    if decimal.is_sure and not thousands.text:
        thousands, thousands_why = find_other_thousands(decimal, _unread_numbers(assignment, profiles))
    assignment = settle_pressure(assignment, sheet, profiles)
    feeds = tuple(
        _plan_feed(table, assignment, profiles, sheet, whens.get(table), dates, find_imo(sheet, names))
        for table in assignment.tables
    )
    if wide:
        feeds = tuple(replace(f, wide=plan_wide(wide, profiles)) if f.table.text == "finding" else f for f in feeds)
    used = {match.header for match in assignment.matches.values()} | {when[0] for when in whens.values()} | set(wide)
    return Plan(
        name=name,
        about=about,
        files=files,
        sheet=sheet,
        decimal_mark=decimal,
        thousands_mark=thousands,
        marks_why=marks_why,
        thousands_why=thousands_why,
        date_formats=dates,
        dates_why=dates_why,
        null_words=_null_words(assignment, profiles, bool(wide)),
        ignored=list_ignored(sheet, profiles, assignment, used),
        feeds=feeds,
        months=tuple(sorted({pair for p in _dated(assignment, profiles) if p.dates for pair in p.dates.months})),
        notes=_notes(sheet),
    )


def _assign(sheet: Sheet, profiles: dict[str, Profile], wide: dict[str, str], names: list[str]):
    """Tables and headers, and which records each table takes. A column that counts the rows is the unit's only if need be."""
    title = " ".join((*sheet.head_lines, *names))
    usable = {header: profile for header, profile in profiles.items() if header not in wide}
    telling = {header: profile for header, profile in usable.items() if not profile.is_row_number}
    kinds = None if wide else find_kinds(sheet, telling)
    if kinds:
        return kinds.assignment, kinds.whens
    found = assign_headers(score_all(telling), profiles, bool(wide), title)
    if not found.is_sure and len(telling) < len(usable):
        with_numbers = assign_headers(score_all(usable), profiles, bool(wide), title)
        found = with_numbers if with_numbers.is_sure else found
    return found, find_when(sheet, found, profiles, wide)


def _notes(sheet: Sheet) -> tuple[str, ...]:
    notes = []
    if sheet.broken:
        notes.append(
            f"{sheet.broken:,} records have too many or too few fields, or a stray quotation mark; a run puts them aside"
        )
    if sheet.is_sampled:
        notes.append(f"only the first {len(sheet.rows):,} records were looked at")
    twice = sorted({header for header in sheet.headers if header and sheet.headers.count(header) > 1})
    if twice:
        notes.append(f"headers that stand twice can't be read: {', '.join(map(repr, twice))}")
    return tuple(notes)


def _columns(assignment: Assignment):
    for (table, name), match in assignment.matches.items():
        yield contract.tables()[table].column(name), match.header


def _dated(assignment: Assignment, profiles: dict[str, Profile]) -> list[Profile]:
    return [profiles[header] for column, header in _columns(assignment) if column.type == "date"]


def _numbers(assignment: Assignment, profiles: dict[str, Profile]) -> list[Counter[str]]:
    return [profiles[header].cells for column, header in _columns(assignment) if column.type in NUMBERS]


def _unread_numbers(assignment: Assignment, profiles: dict[str, Profile]) -> list[Counter[str]]:
    """Numbers in columns without a place."""
    used = {header for _, header in _columns(assignment)}
    return [p.cells for header, p in profiles.items() if header not in used and p.number_share >= MOSTLY and not p.dates]


def _null_words(assignment: Assignment, profiles: dict[str, Profile], is_wide: bool) -> tuple[tuple[Choice, int], ...]:
    """Signs of an empty cell that stand where a number, date or known word should; beside a check list a dash may mean more."""
    found: Counter[str] = Counter()
    for header in {header for column, header in _columns(assignment) if column.type != "text"}:
        for cell, count in profiles[header].nulls.items():
            found[cell.lower()] += count
    certain = read_data("marks.toml")["certain_null_words"] if not is_wide else ()
    return tuple((Choice(word, word in certain), count) for word, count in found.most_common() if count > 1 or word in certain)


def find_imo(sheet: Sheet, names: list[str]) -> Choice:
    """An IMO number above the table or in a file name; only one that is called so is beyond doubt."""
    for text in (*sheet.head_lines, *names):
        for found in re.finditer(r"(?<!\d)\d{7}(?!\d)", text):
            if is_imo_number(found[0]):
                return Choice(found[0], bool(re.search("imo|omi|имо|ιμο", text[: found.start()].lower()[-12:])))
    return Choice(None, False, STAND_IN_IMO)


def _plan_feed(table: str, assignment: Assignment, profiles, sheet: Sheet, when: When | None, dates, imo: Choice) -> FeedPlan:
    matched = {name: match for (owner, name), match in assignment.matches.items() if owner == table}
    columns = []
    for column in contract.tables()[table].columns:
        if column.name in matched:
            match = matched[column.name]
            columns.append(
                _plan_column(
                    column, match, profiles[match.header], _cells_under(sheet, match.header, when, profiles), dates, sheet
                )
            )
        elif (constant := _constant(column.name, table, assignment, imo)) is not None:
            columns.append(constant)
    needs = read_data("marks.toml")["tables"][table]["needs"] if not assignment.is_sure else ()
    columns += [ColumnPlan(name, Choice(None, False), notes=("no header was found for it",)) for name in needs if name not in
                {column.name for column in columns}]  # fmt: skip
    return FeedPlan(Choice(table, assignment.is_sure), tuple(columns), when)


def _constant(name: str, table: str, assignment: Assignment, imo: Choice) -> ColumnPlan | None:
    """What no header tells but the table needs: the vessel, the kind of service, what kind of look found a defect."""
    if name == "imo_number":
        why = "found above the table or in the file name" if imo.text else "the file names no vessel: write its IMO number"
        return ColumnPlan(name, imo, True, 0.9 if imo.is_sure else 0.5, why)
    if name == "kind" and table == "service":
        if kind := kind_of_day(assignment.matches):
            return ColumnPlan(name, Choice(kind, says_the_kind(assignment.matches)), True, 0.8, "from the header of the day")
        return ColumnPlan(name, Choice("annual_service", False), True, 0.4, "no header tells the kind of service")
    if name == "found_by":
        looks = [other for other in ("service", "inspection") if other in assignment.tables]
        return ColumnPlan(name, Choice(looks[0]), True, 0.9, f"the same file holds the {looks[0]}") if looks else None
    return None


def _cells_under(sheet: Sheet, header: str, when: When | None, profiles: dict[str, Profile]) -> Counter[str]:
    """The cells of a column in the records that its table takes."""
    if when is None:
        return profiles[header].cells
    place, kind = sheet.headers.index(header), sheet.headers.index(when[0])
    words = {(word.text or "").lower() for word in when[1]}
    found = Counter(row[place] for row in sheet.rows if row[kind].lower() in words and row[place])
    return Counter({cell: count for cell, count in found.items() if cell in profiles[header].cells})


def _plan_column(
    column: Column, match: Match, profile: Profile, cells: Counter[str], dates: tuple[Choice, ...], sheet: Sheet
) -> ColumnPlan:
    unit, unit_notes = settle_unit(column, profile, sheet.head_lines)
    words, word_notes = settle_words(column, cells, profile.cells)
    formats, precision, date_notes = _plan_dates(column, profile, dates)
    rival = (f"it could as well be {match.rival}",) if match.rival else ()
    rival += (f"the header {match.other!r} fits it as well",) if match.other else ()
    return ColumnPlan(
        name=column.name,
        source=Choice(match.header, match.is_sure),
        score=match.score,
        why=match.why,
        examples=tuple(value for value, _ in cells.most_common(3)),
        words=words,
        unit=unit,
        formats=formats,
        precision_into=precision,
        suffixes=settle_suffixes(column, profile),
        notes=rival + unit_notes + word_notes + date_notes,
    )


def _plan_dates(
    column: Column, profile: Profile, dates: tuple[Choice, ...]
) -> tuple[tuple[Choice, ...], str | None, tuple[str, ...]]:
    """Own date forms where they differ from the file's, and where the precision of a date goes."""
    if column.type != "date" or profile.dates is None:
        return (), None, ()
    own, why = describe_dates(profile.dates)
    if any(form.text is None for form in dates) and (profile.dates.is_inherited or not profile.dates.is_ordered):
        # What these cells don't settle is asked once, for the whole file.
        own, why = (dates, "") if profile.dates.formats else ((), "")
    notes = (why,) if why and own != dates else ()
    strays = f"read by no form: {', '.join(map(repr, profile.dates.stray))}" if profile.dates.stray and not why else ""
    notes += (strays,) if strays else ()
    if column.name == "stated_next_due_on" and profile.dates.rough_formats and not profile.dates.formats:
        return (
            tuple(Choice(form, "%y" not in form) for form in profile.dates.rough_formats),
            None,
            (*notes, "read as the first day"),
        )
    if column.name == "made_on" and profile.dates.rough_formats:
        rough = tuple(Choice(form, "%y" not in form) for form in profile.dates.rough_formats)
        return (own if profile.dates.formats else ()) + rough, "made_on_precision", notes
    return (own if own and own != dates else ()), None, notes
