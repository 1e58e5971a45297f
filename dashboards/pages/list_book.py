"""Lists of units and items behind the numbers of other pages: what one line holds, and where each list stands.

In: entries from list_items.py, list_units.py, list_reasons.py. Out: `ListBook`: the fleet's lists and each vessel's, by path.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from dashboards.blocks import FLEET, Context, Line, Lists, Run

# A list of a past day, or of what happened in a year, isn't made where it would be longer: its number leads nowhere, and what it counts
# stands in the database. A line weighs some 430 bytes, the page of a unit some 38,000.
MOST_LINES = 5_000


class Entry(NamedTuple):
    """One line of a list: a unit (or a group, without `unit_id`), where it is, why it counts, and the record that shows it."""

    imo_number: str
    unit: str
    unit_id: str | None
    place: str | Run
    why: str
    path: str | None
    line_no: int | None


def write_entry(entry: Entry, context: Context) -> Line:
    """One line."""
    unit = context.link_unit(entry.unit_id, entry.unit) if entry.unit_id else entry.unit
    return Line((unit, entry.why, context.link_vessel(entry.imo_number), entry.place, (entry.path, entry.line_no)))


# One line for a list: the list's name, its title, and the line.
Named = tuple[str, str, Entry]


@dataclass
class ListBook:
    """Entries and titles of each list by its path without ending."""

    entries: dict[str, list[Entry]] = field(default_factory=dict)
    titles: dict[str, str] = field(default_factory=dict)
    lines: dict[int, Line] = field(default_factory=dict)

    def line(self, entry: Entry, context: Context) -> Line:
        """An entry as a row. It is made when a list is asked for, and kept: an entry stands in three lists or four."""
        line = self.lines.get(id(entry))  # entries live as long as the book does
        if line is None:
            line = self.lines[id(entry)] = write_entry(entry, context)
        return line

    def add(self, named: Iterable[Named], context: Context) -> None:
        """Put each line into the fleet's list and, where the vessel is in the fleet, into the vessel's."""
        begun: dict[tuple[str, str], list[Entry]] = {}
        for name, title, entry in named:
            for scope in (FLEET, entry.imo_number) if entry.imo_number in context.by_imo else (FLEET,):
                entries = begun.get((scope, name))
                if entries is None:
                    entries = begun[scope, name] = self.begin(scope, name, title, context)
                entries.append(entry)

    def begin(self, scope: str, name: str, title: str, context: Context) -> list[Entry]:
        """The lines of a list, none yet where it is new."""
        path = f"list/{scope}/{name}"
        self.titles.setdefault(path, title if scope == FLEET else f"{title}: {context.name_vessel(scope)}")
        return self.entries.setdefault(path, [])

    def count(self) -> Lists:
        """How long each list is."""
        return Lists({path: len(entries) for path, entries in self.entries.items()})
