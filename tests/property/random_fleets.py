"""Small random fleets whose dates sit on the edges: month ends, 29 February, due days, the day judged on.

In: a seed, or hypothesis' draw. Out: a `Fleet` in which every row is valid, so that all of it must load. On purpose
it holds what the definitions must survive: events before the stay, before the vessel joined and after removal;
transfers, overlapping stays, spares, landed units, laid-up vessels; empty dates and outcomes; shared and lone sample
groups; a day judged on that lies before the last event.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta
from hypothesis import strategies as st

from tests.property.canonical import Fleet, Row, complete_imo_number, merge_fleets
from tests.property.choosers import Chooser, DrawnChooser, SeededChooser
from tests.property.random_events import make_inspections, make_services
from tests.property.random_units import make_stays

FIRST_IMO_PREFIX = 990001  # invented: the highest numbers of the scheme
LAST_DAY_OF_ALL = date(2026, 6, 30)  # no event after it, so that none lies after the day the files came in


@dataclass(frozen=True)
class Window:
    """The days that most records fall in, and the day judged on."""

    first: date
    last: date
    as_of: date

    def pick_day(self, chooser: Chooser, low: date, high: date) -> date:
        """A day from low to high (high where they cross); half of them moved to an edge."""
        if high <= low:
            return low
        day = low + timedelta(days=chooser.pick_number(0, (high - low).days))
        month_start = day.replace(day=1)
        edges = [
            day, day, day, day,
            month_start,
            month_start + relativedelta(months=1, days=-1),
            month_start + relativedelta(months=1, days=-2),
            date(2024, 2, 29),
            self.as_of,
        ]  # fmt: skip
        edge = chooser.pick_one(edges)
        return edge if low <= edge <= high else day


def make_window(chooser: Chooser) -> Window:
    """One to three years; judged within them (mid-month or at an edge), so some events lie after that day."""
    first = date(2021 + chooser.pick_number(0, 2), chooser.pick_number(1, 12), 1)
    last = min(first + relativedelta(years=chooser.pick_number(1, 3), days=-1), LAST_DAY_OF_ALL)
    free = Window(first, last, last)
    inside = [free.pick_day(chooser, first + (last - first) / n, last) for n in (8, 2)]
    as_of = chooser.pick_one([last, *inside])
    return Window(first, last, as_of)


def make_fleet(chooser: Chooser, window: Window, number: int = 0, max_vessels: int = 4, max_units: int = 8) -> Fleet:
    """`number` keeps identities of several fleets apart (0 to 99)."""
    vessels = [
        make_vessel(chooser, window, complete_imo_number(FIRST_IMO_PREFIX + 10 * number + n))
        for n in range(chooser.pick_number(1, max_vessels))
    ]
    units: list[Row] = []
    inspections: list[Row] = []
    services: list[Row] = []
    findings: list[Row] = []
    for vessel_no, vessel in enumerate(vessels):
        # every fleet has a unit: an export of no units at all is an error of its own
        for unit_no in range(chooser.pick_number(0 if vessel_no else 1, max_units)):
            unit_id = f"F{number}V{vessel_no}U{unit_no}"
            stays = make_stays(chooser, window, unit_id, vessel["imo_number"], [v["imo_number"] for v in vessels])
            units += stays
            inspections += make_inspections(chooser, window, stays, vessels)
            services += make_services(chooser, window, stays, vessels)
            findings += find_discharged(chooser, stays, inspections, vessels)
    return Fleet(window.as_of, vessels, units, inspections, services, findings)


def find_discharged(chooser: Chooser, stays: list[Row], inspections: list[Row], vessels: list[Row]) -> list[Row]:
    """Now and then a unit is found without its charge, on the day of a check."""
    looks = [row for row in inspections if row["unit_id"] == stays[0]["unit_id"]]
    if not looks or not chooser.has_chance(25):
        return []
    look = looks[chooser.pick_one(range(len(looks)))]
    defect, severity = chooser.pick_one(
        [("missing", None), ("low_mass", "unfit"), ("low_mass", "major"), ("low_pressure", "unfit")]
    )
    where = {"unit_id": look["unit_id"], "imo_number": look["imo_number"], "found_on": look["inspected_on"]}
    return [where | {"component": "charge", "defect": defect, "severity": severity}]


def make_vessel(chooser: Chooser, window: Window, imo_number: str) -> Row:
    vessel: Row = {"imo_number": imo_number, "vessel_name": f"Vessel {imo_number[-3:]}"}
    middle = window.first + (window.last - window.first) / 2
    if chooser.has_chance(35):
        vessel["joined_on"] = window.pick_day(chooser, window.first - timedelta(days=200), middle)
    if chooser.has_chance(20):
        vessel["left_on"] = window.pick_day(chooser, middle, window.last + timedelta(days=60))
    if chooser.has_chance(30):
        vessel["laid_up_from"] = window.pick_day(chooser, window.first, window.last)
        if chooser.has_chance(70):
            until = vessel["laid_up_from"] + timedelta(days=150)
            vessel["laid_up_to"] = window.pick_day(chooser, vessel["laid_up_from"], until)
    elif chooser.has_chance(5):
        vessel["laid_up_to"] = window.pick_day(chooser, window.first, window.last)  # no first day: not laid up
    return vessel


def make_seeded_fleet(seed: int) -> Fleet:
    chooser = SeededChooser(seed)
    return make_fleet(chooser, make_window(chooser))


def make_seeded_batch(seed: int, fleets: int) -> Fleet:
    """Several fleets judged on one day, as one: one run of the pipeline tries them all."""
    chooser = SeededChooser(seed)
    window = make_window(chooser)
    return merge_fleets([make_fleet(chooser, window, number) for number in range(fleets)])


@st.composite
def draw_fleet(draw, max_vessels: int = 2, max_units: int = 3) -> Fleet:
    chooser = DrawnChooser(draw)
    return make_fleet(chooser, make_window(chooser), max_vessels=max_vessels, max_units=max_units)
