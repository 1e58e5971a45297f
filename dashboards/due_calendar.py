"""Due dates as calendar files (RFC 5545): one for each vessel, one for the fleet.

In: `Item` values. Out: calendar/<IMO number>.ics and calendar/fleet.ics: an all-day event for each vessel, duty and due date, and one
on the day of the pages for what is overdue then. An event keeps its UID as long as its due date stands, so that next month's
file brings the calendar up to date instead of doubling it. The same records give the same bytes: every time stamp is the day of the pages.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from icalendar import Calendar, vText

from dashboards import words
from dashboards.blocks import FLEET, Context, Link, Note
from dashboards.pages.due_items import Item

AHEAD_DAYS, ROUND_DAYS = 365, 90
MOST_EVENTS = 5000  # of the fleet's file, which no calendar would take in beyond; each vessel has its own
MOST_OCTETS = 75  # of a line, its end apart
MOST_NAMED = 100  # units in a description
MOST_LETTERS = 120  # of a unit and of its place
CAUTION = (
    "Supports and never replaces the vessel's own procedures, the maker's manual, the rules of flag and class, and a competent person. "
    "Never repair a pressure shell by welding; never pressure-test outside a test shop."
)


def name_file(scope: str) -> str:
    """Path of a calendar file from the site's root."""
    return f"calendar/{scope}.ics"


def tell_calendar(scope: str, context: Context) -> tuple[Note, ...]:
    """Where the calendar file is; nothing where there is none."""
    path, rounds = name_file(scope), context.book.name_rounds()
    said = f"To import into a calendar: what falls due within {AHEAD_DAYS} days" + (
        f" ({rounds}: {ROUND_DAYS})" if rounds else ""
    )
    return (
        (Note(f"{said}, and what is overdue:", links=(Link("Calendar file (iCalendar)", path),)),)
        if path in context.calendars
        else ()
    )


def group_items(items: Sequence[Item], context: Context) -> dict[tuple[str, str, date | None], list[Item]]:
    """Items by vessel, duty and due date; what is overdue stands under no date. What can't be told or lies too far ahead is left out."""
    groups: dict[tuple[str, str, date | None], list[Item]] = {}
    for item in items:
        if item.due_on is None:
            continue
        ahead = (item.due_on - context.as_of).days
        if item.state == "overdue":
            groups.setdefault((item.imo_number, item.duty, None), []).append(item)
        elif 0 <= ahead <= (ROUND_DAYS if context.book.is_round(item.duty) else AHEAD_DAYS):
            groups.setdefault((item.imo_number, item.duty, item.due_on), []).append(item)
    return dict(
        sorted(groups.items(), key=lambda pair: (pair[0][2] or context.as_of, pair[0][0], pair[0][1], pair[0][2] is None))
    )


def name_item(item: Item) -> str:
    """'ASQ-100007, FE-07, Galley', and how late it is."""
    late = (
        f", due {words.say_date(item.due_on)}, {words.say_count(item.days_overdue, 'day')} overdue" if item.days_overdue else ""
    )
    place = f" ({write_line(item.place)})" if item.place else ""
    return f"{write_line(item.unit)}{place}{late}"


def write_line(text: str) -> str:
    """A text of a file as part of one line, without what no calendar may hold."""
    return words.cut_name(" ".join(words.show_safely(text).split()), MOST_LETTERS)


def describe(items: Sequence[Item], context: Context) -> str:
    """The units, the rule, the caution."""
    named = sorted(items, key=lambda i: (i.due_on, i.position_no or "", i.unit_id))
    lines = [name_item(item) for item in named[:MOST_NAMED]]
    lines += [f"and {words.say_number(len(named) - MOST_NAMED)} more"] if len(named) > MOST_NAMED else []
    rules = dict.fromkeys(
        f"{rule.title} {rule.mark}" if (rule := context.book.find_rule(i.rule_id)) else i.rule_id for i in named
    )
    return "\n".join([*lines, "", f"Rule: {'; '.join(rules)}", f"As of {words.say_date(context.as_of)}.", CAUTION])


def fold_line(line: str) -> bytes:
    """A content line of a file (RFC 5545, 3.1): at most 75 octets a line, characters and escapes whole, as the library folds it."""
    octets, start, parts = line.encode(), 0, []
    while len(octets) - start >= MOST_OCTETS:
        end = start + MOST_OCTETS - 1
        while octets[end] & 0xC0 == 0x80:  # in the middle of a character
            end -= 1
        if octets[end - 1] in b"\\^" and end - 1 > start:
            end -= 1
        parts.append(octets[start:end])
        start = end
    return b"\r\n ".join([*parts, octets[start:]]) + b"\r\n"


def escape_text(text: str) -> str:
    """A text as a value (RFC 5545, 3.3.11)."""
    return vText(text).to_ical().decode()


def write_event(key: tuple[str, str, date | None], items: Sequence[Item], context: Context) -> bytes:
    """One vessel, duty and day as an event that takes no time of anybody's day.

    The library writes the same bytes, as a test holds, in ten times the time; a large fleet has a hundred thousand events.
    """
    imo, duty, due_on = key
    title = context.book.name_duty(duty)
    what = f"{words.say_capital(title)} due" if due_on else f"Overdue: {title}"
    count, vessel = context.book.say_subjects(duty, len(items)), write_line(context.name_vessel(imo))
    lines = (
        "BEGIN:VEVENT",
        "SUMMARY:" + escape_text(f"{what}{':' if due_on else ','} {count}, {vessel}"),
        f"DTSTART;VALUE=DATE:{due_on or context.as_of:%Y%m%d}",
        f"DTSTAMP:{context.as_of:%Y%m%d}T000000Z",
        f"UID:{imo}-{duty}-{due_on or 'overdue'}@firekpi",
        f"SEQUENCE:{max(0, (context.as_of - date(2000, 1, 1)).days)}",
        f"DESCRIPTION:{escape_text(describe(items, context))}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    )
    return b"".join(map(fold_line, lines))


def write_calendar(events: Sequence[bytes], context: Context, name: str) -> bytes:
    """One file. Without a METHOD, which would call for an organizer (RFC 5546): so it is a list to import, and no invitation."""
    calendar = Calendar()
    calendar.add("prodid", f"-//firekpi//firekpi {context.version}//EN")
    calendar.add("version", "2.0")
    # The library writes text that it does not know as text without escaping it, and stops at a line break in it.
    calendar.add("x-wr-calname", vText(f"Extinguishers due: {name}"))
    end = b"END:VCALENDAR\r\n"  # a name may hold the same words
    return calendar.to_ical().removesuffix(end) + b"".join(events) + end


def list_calendars(items: Sequence[Item], context: Context) -> Iterator[tuple[str, bytes]]:
    """Path and bytes of each file; a vessel without an event has none, since a calendar must hold something (RFC 5545, 3.6)."""
    groups = group_items([i for i in items if i.imo_number in context.by_imo], context)
    vessels: dict[str, list[bytes]] = {}
    every = [(key[0], write_event(key, found, context)) for key, found in groups.items()]
    for imo, event in every:
        vessels.setdefault(imo, []).append(event)
    if 0 < len(every) <= MOST_EVENTS:
        yield name_file(FLEET), write_calendar([event for _, event in every], context, "all vessels")
    for imo, mine in vessels.items():
        yield name_file(imo), write_calendar(mine, context, write_line(context.name_vessel(imo)))
