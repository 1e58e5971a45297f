"""How quick the pages of a thousand vessels are: sizes, opening, search and sort of the register, in milliseconds, medians of five.

`make bench-pages` prints it. In: an invented database of 1,000 vessels of 60 units. Nothing is asserted: a machine may be slow.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from playwright.sync_api import Page, sync_playwright

from dashboards import database, render
from dashboards.keep_same import Folder
from dashboards.pages import agents, corrosion, defects, fitness, fleet, list_page, overdue, quality, register, watch_list
from dashboards.site import start_folder
from tests.browser.make_fixture_db import make_fixture_db

VESSELS, UNITS, TIMES = 1000, 60, 5
SEARCHES = ("foam", "9 l galley", "no such unit", "0003-0", "overdue powder")
SORTS = ("Unit", "State", "Position", "Made", "Next due", "Watch list")
# From the letter typed, or the click, until the lines stand: the browser has laid them out when it tells their height.
TYPE = """(value) => new Promise(done => { const input = document.querySelector('.register input'), start = performance.now();
    addEventListener('hashchange', () => { document.body.offsetHeight; done(performance.now() - start); }, {once: true});
    input.value = value; input.dispatchEvent(new Event('input')); })"""
CLICK = """(name) => new Promise(done => { const buttons = [...document.querySelectorAll('.register thead button')], start = performance.now();
    addEventListener('hashchange', () => { document.body.offsetHeight; done(performance.now() - start); }, {once: true});
    buttons.find(button => button.textContent === name).click(); })"""


def say(what: str, value: object) -> None:
    """One line."""
    sys.stdout.write(f"{what:44} {value}\n")


def build(folder: Path) -> Path:
    """The pages that a large fleet opens with."""
    make_fixture_db(folder / "large.duckdb", vessels=VESSELS, units=UNITS, months=13)
    site, env = folder / "site", render.make_environment()
    start_folder(Folder(str(site)))
    with database.open_database(folder / "large.duckdb") as con:
        _, context = list_page.read_book(con, database.read_context(con, folder / "large.duckdb"))
        others = (overdue, register, fitness, defects, corrosion, agents, watch_list, quality)
        for page in (*fleet.make_pages(con, context), *(module.make_page(con, context) for module in others)):
            render.write_page(env, context, page, Folder(str(site)))
    return site


def measure_opening(page: Page, site: Path, name: str, ready: str) -> float:
    """Milliseconds from asking for a page until what is looked for stands on it."""
    times = []
    for _ in range(TIMES):
        page.goto("about:blank")
        start = time.perf_counter()
        page.goto((site / f"{name}.html").as_uri())
        page.wait_for_selector(ready)
        times.append(1000 * (time.perf_counter() - start))
    return median(times)


def main() -> None:
    """Build, open, search, sort; print."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        site = build(Path(folder))
        parts = (site / "parts" / "register.js").stat().st_size
        for path in sorted(site.glob("*.html")):
            if not path.stem.startswith("fleet-") or path.stem == "fleet-2":
                say(f"{path.name}, kB", round(path.stat().st_size / 1000))
        say("register's numbers, bytes a unit", round(parts / (VESSELS * UNITS), 1))
        page = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        ).new_page()
        say("index opens, ms", round(measure_opening(page, site, "index", "main table tbody tr")))
        say("overdue opens with its charts, ms", round(measure_opening(page, site, "overdue", ".chart.drawn")))
        say(
            f"register of {VESSELS * UNITS:,} units opens, ms",
            round(measure_opening(page, site, "register", ".register tbody tr")),
        )
        for words in SEARCHES:
            times = [(page.evaluate(TYPE, words), page.evaluate(TYPE, ""))[0] for _ in range(TIMES)]
            say(f"search {words!r}, ms", round(median(times)))
        for name in SORTS:
            say(f"sort by {name}, ms", round(median(page.evaluate(CLICK, name) for _ in range(TIMES))))


if __name__ == "__main__":
    main()
