"""Vessel: everything on one page for the master and the superintendent of one vessel.

In: the context and one set of queries for all vessels. Out: vessel/<imo>.html for each vessel of the fleet.
"""

from __future__ import annotations

from collections.abc import Iterator

import duckdb
from markupsafe import Markup

from dashboards import charts, standing, time_charts, words
from dashboards.blocks import Chart, Context, Fact, Facts, Link, Page, Section, Table, Vessel, name_columns
from dashboards.pages import vessel_data, vessel_lists
from dashboards.pages.vessel_data import VesselData
from dashboards.standing import to_pct


def write_answer(vessel: Vessel, data: VesselData, context: Context) -> str:
    """The state of the vessel in a sentence."""
    day, now = words.say_date(context.as_of), data.standing.now if data.standing else None
    if now is None or not now.units:
        why = "; the vessel is laid up, so its units are counted apart" if vessel.is_laid_up else ""
        return f"On {day} no unit is in service on {vessel.name}{why}. Its register stands below, as far as the records go."
    late = [c for c in data.duties if c.duty != "*" and c.now.overdue]
    units = words.say_list(
        [f"{words.say_number(c.now.overdue)} for {words.say_duty(c.duty)}" for c in late if c.duty not in standing.GROUP_DUTIES]
    )
    groups = [
        (
            f"{standing.say_counted(c.duty, c.now.overdue)} {'is' if c.now.overdue == 1 else 'are'} overdue for "
            f"{words.say_duty(c.duty)}"
        )
        for c in late
        if c.duty in standing.GROUP_DUTIES
    ]
    open_units = sum(1 for u in data.units if u.open_findings)
    findings = f"{words.say_count(open_units, 'unit')} {'has' if open_units == 1 else 'have'} open findings"
    return Markup("On {} <strong>{} of {}</strong> in service on board {} {} overdue{}. {}.").format(
        day,
        words.say_number(now.overdue) if now.overdue else "none",
        words.say_count(now.units, "unit"),
        vessel.name,
        "is" if now.overdue in (0, 1) else "are",
        f" ({units})" if units else "",
        words.say_capital("; ".join([*groups, findings])),
    )


def list_facts(data: VesselData) -> Facts:
    """The numbers to start from."""
    counted = {word: sum(1 for u in data.units if u.counted == word) for word in ("spare", "ashore", "laid up")}
    apart = [f"{n} {word}" for word, n in counted.items() if n]
    now = data.standing.now if data.standing else None
    return Facts(
        (
            Fact(
                "Units in service",
                words.say_number(now.units if now else 0),
                f"counted apart: {words.say_list(apart)}" if apart else "",
            ),
            Fact(
                "Overdue items",
                words.say_number(sum(1 for i in data.items if i.state == "overdue")),
                "a unit late on two duties is two items",
            ),
            Fact(
                "Due within 90 days",
                words.say_number(sum(1 for i in data.items if i.state == "in time" and i.duty != "onboard_check")),
                "services and tests, onboard checks apart",
            ),
            Fact("Open findings", words.say_number(sum(u.open_findings for u in data.units)), "different defects on a unit"),
            say_freshness(data),
        )
    )


def say_freshness(data: VesselData) -> Fact:
    """How old the last record is."""
    if data.fresh is None or data.fresh.last_record_on is None:
        return Fact("Last record", words.NONE, "no inspection, service or finding on record")
    age = words.say_count(data.fresh.days_since, "day") + " ago" if data.fresh.days_since else "today"
    return Fact("Last record", age.replace(" ", words.THIN), f"on {words.say_date(data.fresh.last_record_on)}")


def chart_trend(data: VesselData) -> Chart:
    """Unit-days overdue, month by month."""
    mine = data.months[-24:]
    rows = tuple((r.month_end, to_pct(r.days_rate), r.overdue, r.units) for r in mine)
    columns = name_columns(
        "month_end=Month up to:date; unit_days_overdue_pct=Unit-days overdue:percent; "
        "overdue_units=Units overdue at its end:count; units=Units in service:count"
    )
    series = [charts.Series("any duty", tuple(r[0] for r in rows), tuple(r[1] for r in rows))]
    title = f"{words.say_percent(rows[-1][1])} of unit-days overdue in {words.say_month(rows[-1][0])}" if rows else "No month yet"
    if len(rows) > 12:
        title += f", {words.say_percent(rows[-13][1])} a year before"
    return Chart(
        "trend",
        title,
        "Share of unit-days overdue on onboard check, annual service or pressure test.",
        time_charts.draw_lines(series, "unit-days overdue, %", " %"),
        Table("trend", "Month by month", columns, rows, empty="No month with a unit in service yet."),
    )


def make_page(vessel: Vessel, data: VesselData, context: Context, siblings: tuple[Link, ...]) -> Page:
    """The page of one vessel."""
    sections = (
        Section("standing", "On this day", (list_facts(data),)),
        Section("overdue", "Overdue", (vessel_lists.list_overdue(data),), is_wide=True),
        Section("ahead", "The next 90 days", (vessel_lists.list_ahead(data, context),), "The due list below names each of them."),
        Section(
            "due", "Due list", (vessel_lists.list_due(data),), "Prints on A4, with room to note what was done.", is_wide=True
        ),
        Section("findings", "Open findings", (vessel_lists.list_findings(data, context),), is_wide=True),
        Section("trend", "The course so far", (chart_trend(data),)),
        Section("register", "Unit register", (vessel_lists.list_register(data),), is_wide=True),
    )
    return Page(
        vessel.link.href,
        vessel.name,
        f"IMO {vessel.imo_number}"
        + "".join(
            f", {part}"
            for part in (vessel.vessel_type, f"flag {vessel.flag}" if vessel.flag else "", "laid up" if vessel.is_laid_up else "")
            if part
        ),
        write_answer(vessel, data, context),
        sections,
        nav="index.html",
        crumbs=(Link("All vessels", "index.html#vessels"),),
        siblings=siblings,
        is_caution_on_top=True,
    )


def make_pages(con: duckdb.DuckDBPyConnection, context: Context) -> Iterator[Page]:
    """One page after another, from one set of queries."""
    every = vessel_data.read_all(con, context, vessel_lists.AHEAD_DAYS)
    for i, vessel in enumerate(context.vessels):
        near = [
            Link(f"{word}: {v.name}", v.link.href)
            for word, v in (
                ("Before", context.vessels[i - 1] if i else None),
                ("Next", context.vessels[i + 1] if i + 1 < len(context.vessels) else None),
            )
            if v
        ]
        yield make_page(vessel, every(vessel.imo_number), context, tuple(near))
