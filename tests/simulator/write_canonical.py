"""A fleet as a folder of canonical CSVs. In: folder, sizes, seed. Out: files, and `Life` with the truth (never written)."""

from __future__ import annotations

from bisect import bisect_left
from pathlib import Path

import numpy as np
import pandas as pd

from .calendar_days import add_months, count_day, write_days
from .draws import Draws
from .fleet import invent_vessels
from .life import Life, simulate_life
from .office import write_spares, write_stations, write_vessels
from .parameters import KINDS, PROVIDERS, SPACES, Truth
from .tables import build_tables, index_vessels

LAST_DAY = "2026-10-31"
EVENT_COLUMN = {"inspection": "inspected_on", "service": "serviced_on", "finding": "found_on"}


def join_lines(columns: dict[str, list[str]]) -> list[str]:
    """CSV lines without the header; no text of the simulator needs quotes."""
    return list(map(",".join, zip(*columns.values(), strict=True)))


def write_table(path: Path, names: list[str], lines: list[str]) -> None:
    """One canonical CSV: UTF-8, comma, line feed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(("\n".join([",".join(names), *lines]) + "\n").encode())


def divide_periods(start: int, end: int) -> list[str]:
    """First days of the yearly periods from `start` on."""
    return [write_days([add_months(start, 12 * k)])[0] for k in range((end - start) // 365)]


def close_periods(firsts: list[str], end: int) -> list[int]:
    """Last days of the period before the first one and of every period."""
    return [count_day(first) - 1 for first in firsts] + [end]


def restate_findings(columns: dict[str, list[str]], lasts: list[str], firsts: list[str]) -> list[tuple[int, str]]:
    """(period, line) of findings: open in the year they are found, restated with closed_on in the year they are closed."""
    names, out = list(columns), []
    closed_at, action_at, found_at = names.index("closed_on"), names.index("action"), names.index("found_on")
    for row in zip(*columns.values(), strict=True):
        period = bisect_left(firsts, row[found_at] + "~")
        closed = row[closed_at]
        if closed and closed > lasts[period]:
            still_open = list(row)
            still_open[closed_at] = still_open[action_at] = ""
            out.append((period, ",".join(still_open)))
            period = bisect_left(firsts, closed + "~")
        out.append((period, ",".join(row)))
    return out


def spread_lines(table: str, columns: dict, lasts: list[str], firsts: list[str]) -> dict[int, list[str]]:
    """Lines of a table by period; period 0 is before the window."""
    if table == "finding":
        spread: dict[int, list[str]] = {}
        for period, line in restate_findings(columns, lasts, firsts):
            spread.setdefault(period, []).append(line)
        return spread
    days, lines = columns[EVENT_COLUMN[table]], join_lines(columns)
    order = sorted(range(len(days)), key=days.__getitem__)
    days, lines = [days[i] for i in order], [lines[i] for i in order]
    edges = [0, *(bisect_left(days, first) for first in firsts), len(days)]
    return {p: lines[edges[p] : edges[p + 1]] for p in range(len(edges) - 1) if edges[p] < edges[p + 1]}


def write_canonical(
    out: Path, vessels: int, years: int, units: int, seed: int, split: str = "vessel-year", truth: Truth | None = None
) -> Life:
    """Write a fleet of `vessels` with `units` each on average, `years` up to 2026-10-31.

    split: 'vessel-year' (a folder a vessel and year) or 'year' (a folder a year, all vessels). Returns the truth.
    """
    end = count_day(LAST_DAY)
    start = int(add_months(end + 1, -12 * years))
    fleet = invent_vessels(vessels, units, start, end, Draws(seed, 1))
    life = simulate_life(fleet, start, end, seed, truth)
    ranges = index_vessels(life, seed)
    firsts = divide_periods(start, end)
    lasts = write_days(close_periods(firsts, end))
    received: list[tuple[str, str]] = []
    gathered: dict[str, list[str]] = {}
    names: dict[str, list[str]] = {}
    for v, one in enumerate(fleet):
        tables = build_tables(ranges, v)
        more = tables.pop("service_finding")
        tables["finding"] = {name: values + more[name] for name, values in tables["finding"].items()}
        tables |= {"station": write_stations(life, v), "spare": write_spares(life, v, Draws(seed, 5, v))}
        for table, columns in tables.items():
            names[table] = list(columns)
            spread = spread_lines(table, columns, lasts, firsts) if table in EVENT_COLUMN else {len(firsts): join_lines(columns)}
            for period, lines in spread.items():
                folder = "before" if period == 0 else firsts[period - 1][:4] if table in EVENT_COLUMN else "register"
                path = f"{folder}/{table}.csv" if split == "year" else f"{one.imo_number}/{folder}/{table}.csv"
                gathered.setdefault(path, []).extend(lines)
                received.append((path, write_days([count_day(lasts[period]) + 3])[0]))
        if split != "year":
            flush_files(out, gathered, names)
    flush_files(out, gathered, names)
    office = write_vessels(fleet, start)
    write_table(out / "vessel.csv", list(office), join_lines(office))
    received.append(("vessel.csv", lasts[0]))
    write_table(out / "received.csv", ["path", "received_at"], [",".join(r) for r in sorted(set(received))])
    return life


def flush_files(out: Path, gathered: dict[str, list[str]], names: dict[str, list[str]]) -> None:
    """Write the gathered lines and forget them."""
    for path, lines in gathered.items():
        write_table(out / path, names[Path(path).stem], lines)
    gathered.clear()


def reveal_units(life: Life) -> pd.DataFrame:
    """The truth about every unit ever bought, burn-in included: dates, onset, its Weibull scale, wall loss."""
    u = life.units
    return pd.DataFrame(
        {
            "unit": u["unit"],
            "vessel": u["vessel"],
            "kind": [KINDS[k].slug for k in u["kind"]],
            "space": [SPACES[s].category for s in u["space"]],
            "lining": [KINDS[k].lining for k in u["kind"]],
            "made_on": u["made"].astype("datetime64[D]"),
            "onset_on": u["onset"].astype("datetime64[D]"),
            "in_service_on": u["since"].astype("datetime64[D]"),
            "onset_scale_years": u["scale"],
            "onset_age_years": (u["onset"] - u["made"]) / 365.25,
            "loss_mm_per_year": u["rate"],
            "wall_new_mm": u["wall"],
        }
    )


def reveal_services(life: Life) -> pd.DataFrame:
    """The truth at every annual service of the window: loss, whether corroded, found, condemned, and the chance of it."""
    s = life.seen
    return pd.DataFrame(
        {
            "unit": s["unit"],
            "vessel": s["vessel"],
            "kind": [KINDS[k].slug for k in s["kind"]],
            "space": [SPACES[i].category for i in s["space"]],
            "serviced_on": s["day"].astype("datetime64[D]"),
            "provider": [PROVIDERS[p].code for p in s["provider"]],
            "age_years": (s["day"] - s["made"]) / 365.25,
            "is_corroded": s["corroded"],
            "loss_mm": np.asarray(s["loss"]),
            "is_found": s["found"],
            "is_pressure_tested": s["is_pressure"],
            "condemn_chance": s["p_condemn"],
            "is_condemned": s["condemned"],
        }
    )
