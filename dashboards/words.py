"""Numbers, dates and slugs in words, one way for the whole site.

In: values as DuckDB gives them (int, float, Decimal, date, None). Out: plain text, never markup; None reads as an en rule.
No locale and no clock, so that the same database gives the same bytes everywhere.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

NONE = "–"
LEAST_OF = 10  # a percentage of fewer says more than is known
MOST_LETTERS = 400  # of one text on a page: a cell may be a million letters long, and its CSV holds it whole
MOST_NAME = 200  # of a vessel's name, which stands in sentences, links and charts
# What turns the direction of the letters around it, or is no letter at all: shown as a mark that something stood there.
UNSHOWN = re.compile("[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]")
THIN = "\u00a0"  # the no-break space before a unit
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SPECIAL = {"co2": "CO2", "*": "all"}
CERTAINTY = {
    "P": "published text read",
    "P2": "read in a page that quotes it",
    "C": "common practice, no source",
    "M": "from memory: verify",
}


def round_half_up(value: float | Decimal, places: int) -> Decimal:
    """Round as people do on paper: 0.25 to one place is 0.3."""
    return Decimal(str(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def round_whole(value: float | Decimal) -> int:
    """A whole number for a table or twin, as say_number writes it in a sentence: 26.5 is 27."""
    return int(round_half_up(value, 0))


def round_to(value: float | Decimal, places: int) -> float:
    """A number of so many places for a table or twin; of rates six, since half up twice is not half up once (21.246, 21.25, 21.3)."""
    return float(round_half_up(value, places))


def say_number(value: float | Decimal | None, places: int = 0) -> str:
    """A number with thousands separated and a true minus sign."""
    if value is None:
        return NONE
    text = f"{round_half_up(value, places):,f}"
    return ("\u2212" + text[1:]) if text.startswith("-") else text


def say_change(value: int | None) -> str:
    """A signed whole number: +3, −2, 0."""
    if value is None:
        return NONE
    return f"+{say_number(value)}" if value > 0 else say_number(value)


@lru_cache(maxsize=8192)
def say_date(day: date | datetime | None) -> str:
    """31 Oct 2026."""
    return NONE if day is None else f"{day.day} {MONTHS[day.month - 1]} {day.year}".replace(" ", THIN)


def say_part_date(day: date | None, precision: str | None) -> str:
    """2014, Mar 2014 or 1 Mar 2014, as exactly as it is known."""
    if day is None or precision not in ("year", "month"):
        return say_date(day)
    return str(day.year) if precision == "year" else say_month(day).replace(" ", THIN)


def say_month(day: date) -> str:
    """Oct 2026."""
    return f"{MONTHS[day.month - 1]} {day.year}"


def say_month_to(day: date) -> str:
    """The month up to a day: Oct 2026 where the day is its last, else 1–14 Oct 2026."""
    if (day + timedelta(days=1)).day == 1:
        return say_month(day)
    return f"1{NONE}{say_date(day)}" if day.day > 1 else say_date(day)


def say_percent(value: float | Decimal | None, places: int = 1) -> str:
    """A percentage that is already one: 5.2 %."""
    return NONE if value is None else f"{say_number(value, places)}{THIN}%"


def say_share(count: int | None, of: int | None) -> str:
    """5.2 % (14 of 271); without a denominator the reason, never 0 %."""
    if count is None or not of:
        return "no units to count"
    return f"{say_percent(100 * count / of)} ({say_number(count)} of {say_number(of)})"


def say_of(count: int, of: int, noun: str) -> str:
    """94 of 258 units (36.4 %); 1 of 1 unit (100.0 %)."""
    tail = f" ({say_percent(100 * count / of)})" if of else ""
    return f"{say_number(count)} of {say_number(of)} {noun if of == 1 else noun + 's'}{tail}"


def say_part(count: int | None, of: int | None, least: int = LEAST_OF) -> str:
    """54 of 68 (79 %); below `least` the counts alone."""
    if count is None or not of:
        return NONE
    tail = f" ({say_percent(100 * count / of, 0)})" if of >= least else ""
    return f"{say_number(count)} of {say_number(of)}{tail}"


def say_verb(count: int, one: str, many: str) -> str:
    """'is' for one, 'are' for any other number."""
    return one if count == 1 else many


def cut_name(text: str, most: int = 40) -> str:
    """A long name for a chart, where it can't wrap."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def show_safely(text: str) -> str:
    """Text without characters that reorder what stands beside them or that no page may hold."""
    return UNSHOWN.sub("\ufffd", text)


def say_interval(value: float | None, low: float | None, high: float | None, unit: str = "") -> str:
    """14.3 (10.1 to 19.7)."""
    if value is None or low is None or high is None:
        return "too few to rate"
    tail = f"{THIN}{unit}" if unit else ""
    return f"{say_number(value, 1)}{tail} ({say_number(low, 1)} to {say_number(high, 1)})"


def say_count(count: int | None, noun: str, plural: str | None = None) -> str:
    """1 unit, 2 units, no units."""
    if not count:
        return f"no {plural or noun + 's'}"
    return f"{say_number(count)} {noun if count == 1 else plural or noun + 's'}"


def say_difference(count: int, than: str) -> str:
    """3 fewer than on 30 Sep 2026; as many as on 30 Sep 2026."""
    if count == 0:
        return f"as many as {than}"
    return f"{say_number(abs(count))} {'more' if count > 0 else 'fewer'} than {than}"


def say_slug(slug: str | None) -> str:
    """A vocabulary word in words: open_deck is open deck, co2 is CO2."""
    if not slug:
        return NONE
    return SPECIAL.get(slug, slug.replace("_", " "))


def say_list(parts: Sequence[str]) -> str:
    """a, b and c."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


def say_capital(text: str) -> str:
    """First letter large, the rest as it is (CO2 stays CO2)."""
    return text[:1].upper() + text[1:]


def say_charge(litres: float | None, kilos: float | None) -> str:
    """The nominal charge: 9 l, 6 kg, or both for a mixed sum."""
    parts = [f"{say_number(v, 0 if float(v) == int(v) else 1)}{THIN}{u}" for v, u in ((litres, "l"), (kilos, "kg")) if v]
    return " + ".join(parts) or NONE
