"""Calendar files: the rules of RFC 5545 checked by hand and by its library, events against figure.duty_now, and addresses that stand."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from icalendar import Calendar, Event

from dashboards.blocks import Context
from dashboards.due_calendar import AHEAD_DAYS, MOST_EVENTS, ROUND_DAYS, describe, list_calendars, write_event
from dashboards.pages.due_items import Item
from tests.browser.hostile import LABEL, LONG, QUOTES, TURNED

IMO = "9999993"


def read_events(content: bytes) -> list:
    return list(Calendar.from_ical(content).walk("VEVENT"))


def assert_rfc_5545(content: bytes) -> None:
    """By hand, RFC 5545 from memory. 3.1: CRLF, no line above 75 octets, whole characters; 3.6: PRODID and VERSION once, UID and DTSTAMP in each event."""
    assert content.endswith(b"\r\n") and content.count(b"\n") == content.count(b"\r\n") == content.count(b"\r")
    lines = content.split(b"\r\n")
    assert max(map(len, lines)) <= 75 and not re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", content)
    text = content.decode("utf-8").replace("\r\n ", "").split("\r\n")
    assert (
        text[0] == "BEGIN:VCALENDAR"
        and text.count("VERSION:2.0") == 1
        and sum(t.startswith("PRODID:-//firekpi//") for t in text) == 1
    )
    events = text.count("BEGIN:VEVENT")
    uids = [t for t in text if t.startswith("UID:")]
    assert events and events == text.count("END:VEVENT") == len(uids) == len(set(uids)) == sum(
        t.startswith("DTSTAMP:") for t in text
    )
    assert sum(t.startswith("DTSTART;VALUE=DATE:") for t in text) == events
    assert not [t for t in text if t.startswith(("METHOD:", "DTEND", "DURATION"))] and "BEGIN:VALARM" not in text
    for line in text:
        if line.startswith(("SUMMARY:", "DESCRIPTION:", "X-WR-CALNAME:")):
            assert not re.search(r"(?<!\\)[,;]", line.split(":", 1)[1]), line[:200]


def make_item(due_on: date, unit_id: str = "U1", duty: str = "annual", state: str = "in time", place: str = "FE-01") -> Item:
    late = (date(2026, 10, 31) - due_on).days
    return Item(IMO, unit_id, False, place, "Galley", duty, "r", date(2026, 1, 1), "service", "a.csv", 7, due_on, state, late if state == "overdue" else None,
                None, None, [])  # fmt: skip


@pytest.fixture
def context():
    from dashboards.blocks import Vessel

    vessel = Vessel(IMO, "Quiet Heron", "bulk carrier", "LR", False)
    return Context(date(2026, 10, 31), None, "0", "hash", 1, (vessel,), {IMO: vessel})


def test_every_file_of_the_sample_keeps_the_rules(site):
    files = sorted(site.glob("calendar/*.ics"))
    assert len(files) > 3
    for path in files:
        assert_rfc_5545(path.read_bytes())


def test_events_are_the_due_dates_of_the_figures(site, con):
    """Every unit and duty within the year, counted in plain SQL."""
    wanted = con.execute(
        """SELECT imo_number, duty, CASE WHEN state = 'overdue' THEN NULL ELSE due_on END AS due_on, count(*)
        FROM figure.duty_now AS d JOIN (SELECT duty, min(interval_months) AS months FROM duty.rule GROUP BY duty) USING (duty)
        WHERE due_on IS NOT NULL AND (state = 'overdue' OR due_on BETWEEN DATE '2026-10-31' AND DATE '2026-10-31' + if(months BETWEEN 1 AND 3, 90, 365))
        GROUP BY ALL"""
    ).fetchall()
    events = read_events((site / "calendar/fleet.ics").read_bytes())
    found = {}
    for event in events:
        imo, duty, day = re.fullmatch(r"(\d{7})-(.*)-(overdue|\d{4}-\d\d-\d\d)@firekpi", event["uid"]).groups()
        found[imo, duty, None if day == "overdue" else date.fromisoformat(day)] = int(
            re.search(r"(?:: |, )(\d+) (?:unit|sample)", event["summary"])[1]
        )
        assert event["dtstart"].dt == (date(2026, 10, 31) if day == "overdue" else date.fromisoformat(day))
        assert "never replaces" in event["description"] and "Rule: " in event["description"]
    assert found == {(imo, duty, day): n for imo, duty, day, n in wanted} and len(found) > 20


def test_vessels_files_are_the_fleets(site):
    fleet = {event["uid"]: event["summary"] for event in read_events((site / "calendar/fleet.ics").read_bytes())}
    single = [event for path in site.glob("calendar/0*.ics") for event in read_events(path.read_bytes())]
    assert {event["uid"]: event["summary"] for event in single} == fleet and len(single) == len(fleet)


def test_next_month_brings_the_same_event_up_to_date(context):
    from dataclasses import replace

    first = read_events(dict(list_calendars([make_item(date(2027, 3, 1))], context))[f"calendar/{IMO}.ics"])
    later = replace(context, as_of=date(2026, 11, 30))
    second = read_events(
        dict(list_calendars([make_item(date(2027, 3, 1)), make_item(date(2027, 3, 1), "U2")], later))[f"calendar/{IMO}.ics"]
    )
    assert first[0]["uid"] == second[0]["uid"] and second[0]["sequence"] > first[0]["sequence"]
    assert ": 1 unit," in first[0]["summary"] and ": 2 units," in second[0]["summary"]


def test_what_is_too_far_or_can_not_be_told_is_left_out(context):
    far, near = date(2027, 11, 1), date(2027, 10, 31)
    assert (near - context.as_of).days == AHEAD_DAYS > ROUND_DAYS
    unknown = make_item(near, "U3")
    unknown = unknown._replace(due_on=None, state="unknown")
    files = dict(list_calendars([make_item(far, "U1"), make_item(near, "U2"), unknown], context))
    assert [event["dtstart"].dt for event in read_events(files["calendar/fleet.ics"])] == [near]
    assert dict(list_calendars([unknown], context)) == {}


def test_hostile_words_stay_words(context):
    items = [
        make_item(date(2027, 1, 1), unit, place=place)
        for unit, place in ((QUOTES, LABEL), (TURNED, "a\r\nBEGIN:VEVENT\nUID:x"), (LONG, "b;c,d\\"))
    ]
    content = dict(list_calendars(items, context))[f"calendar/{IMO}.ics"]
    assert_rfc_5545(content)
    assert len(read_events(content)) == 1


def test_a_hostile_name_of_a_vessel_stays_a_name(context):
    from dataclasses import replace

    name = "Be\r\nBEGIN:VEVENT, END:VCALENDAR a;b \\n c\x07"
    vessel = replace(context.vessels[0], name=name)
    content = dict(list_calendars([make_item(date(2027, 1, 1))], replace(context, by_imo={IMO: vessel})))[f"calendar/{IMO}.ics"]
    assert_rfc_5545(content)
    calendar = Calendar.from_ical(content)
    said = "Be BEGIN:VEVENT, END:VCALENDAR a;b \\n c"
    written = re.sub(
        r"\\([\\;,])", r"\1", str(calendar["x-wr-calname"])
    )  # the library reads it as it stands: not a name that it knows
    assert written.startswith(f"Extinguishers due: {said}") and len(calendar.walk("VEVENT")) == 1
    assert said in calendar.walk("VEVENT")[0]["summary"]


def test_what_is_overdue_stands_on_the_day_with_its_dates(context):
    late = [make_item(date(2026, 9, 1), "U1", state="overdue"), make_item(date(2026, 10, 1), "U2", state="overdue")]
    (event,) = read_events(dict(list_calendars(late, context))[f"calendar/{IMO}.ics"])
    assert event["summary"] == "Overdue: annual, 2 units, Quiet Heron" and event["dtstart"].dt == context.as_of
    said = str(event["description"]).replace("\xa0", " ").replace("\u202f", " ")
    assert "U1 (FE-01, Galley), due 1 Sep 2026, 60 days overdue" in said and "due 1 Oct 2026, 30 days overdue" in said


def test_a_vessel_without_a_date_has_no_file_and_no_link(build_invented):
    site = build_invented(vessels=1, units=0, months=2)
    assert not list(site.glob("calendar/*"))
    pages = [site / "overdue.html", *site.glob("vessel/*.html")]
    assert len(pages) == 3 and not [page for page in pages if ".ics" in page.read_text(encoding="utf-8")]


def test_a_fleet_of_too_many_events_has_the_vessels_files_alone(context):
    items = [make_item(date(2027, 1, 1), f"U{n}", f"duty_{n}") for n in range(MOST_EVENTS + 1)]
    assert set(dict(list_calendars(items, context))) == {f"calendar/{IMO}.ics"}
    assert set(dict(list_calendars(items[1:], context))) == {f"calendar/{IMO}.ics", "calendar/fleet.ics"}


def test_the_same_records_give_the_same_bytes(context):
    items = [make_item(date(2027, 1, 1), f"U{n}", duty) for n in range(5) for duty in ("annual", "test")]
    assert dict(list_calendars(items, context)) == dict(list_calendars(items[::-1], context))


def test_pages_lead_to_them(site):
    assert 'href="calendar/fleet.ics">Calendar file (iCalendar)<' in (site / "overdue.html").read_text(encoding="utf-8")
    assert 'href="../calendar/0001042.ics"' in (site / "vessel/0001042.html").read_text(encoding="utf-8")


def write_by_library(key, items, context) -> bytes:
    """The same event from icalendar 7, the reference for how values are escaped and lines folded."""
    imo, duty, due_on = key
    event = Event()
    event.add("uid", f"{imo}-{duty}-{due_on or 'overdue'}@firekpi")
    event.add("dtstamp", datetime.combine(context.as_of, time(), UTC))
    event.add("dtstart", due_on or context.as_of)
    written = {name: value for name, value in Calendar.from_ical(b"BEGIN:VCALENDAR\r\n" + write_event(key, items, context)
               + b"END:VCALENDAR\r\n").walk("VEVENT")[0].property_items() if name in ("SUMMARY", "DESCRIPTION")}  # fmt: skip
    event.add("summary", str(written["SUMMARY"]))
    event.add("description", describe(items, context))
    event.add("transp", "TRANSPARENT")
    event.add("sequence", (context.as_of - date(2000, 1, 1)).days)
    return event.to_ical()


@pytest.mark.parametrize("overdue", [False, True])
@given(
    units=st.lists(st.text(st.characters(codec="utf-8"), min_size=1, max_size=90), min_size=1, max_size=6),
    place=st.text("ab,;\\^\n \u00e9\u754c\U0001f9ef", max_size=160),
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_events_are_those_of_the_library(context, overdue, units, place):
    items = [
        make_item(date(2026, 10, 1 if overdue else 31), unit, "annual", "overdue" if overdue else "in time", place)
        for unit in units
    ]
    key = (IMO, "annual", None if overdue else date(2026, 10, 31))
    assert write_event(key, items, context) == write_by_library(key, items, context)
