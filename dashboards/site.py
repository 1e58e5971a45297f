"""The site as a whole: every page into a new folder, then swapped in.

In: the finished database and the folder of the site. Out: a `SiteSummary`. Until the last step the old site stays whole;
the same database content gives the same bytes, and a file that is the same isn't written again (keep_same.py). A folder that holds anything else than a site of ours is never touched.
Errors: `not-our-site`, `cannot-write`, and those of database.py. Leftovers of killed runs: leftovers.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path

import duckdb

from dashboards import charts, database, due_calendar, render
from dashboards.blocks import FLEET, Context, Page
from dashboards.exchange import exchange_folders
from dashboards.keep_same import Folder
from dashboards.leftovers import MARKER, is_foreign, pick_free, remove_site, sweep_leftovers
from dashboards.pages import (
    agents,
    corrosion,
    defects,
    due_items,
    fitness,
    fleet,
    list_page,
    method,
    overdue,
    quality,
    register,
    unit,
    vessel,
    vessel_data,
    vessel_sheet,
    watch_list,
)
from dashboards.pages.list_book import ListBook
from dashboards.pages.vessel_data import VesselData
from dashboards.pages.vessel_lists import AHEAD_DAYS
from dashboards.processes import (
    MOST_PARTS,
    PARTS_A_PROCESS,
    PARTS_BESIDE,
    Beside,
    count_processors,
    keep_from_collector,
    share_work,
    split_evenly,
)
from pipeline.errors import UserError

MANY_UNITS = 1_000  # fewer are written before other processes have begun
FLEET_PAGES = (fleet, register, overdue, fitness, defects, corrosion, agents, watch_list, quality, method)
ASSETS = ("style.css", "site.js", "choose.js", "register.js")


@dataclass(frozen=True)
class SiteSummary:
    """What was built: pages in order, number of CSV twins, and the heaviest page in bytes (without plotly.js)."""

    site: Path
    pages: tuple[str, ...]
    csv_files: int
    heaviest_page: str
    heaviest_bytes: int


@dataclass(frozen=True)
class PreparedSite:
    """A site written whole beside the old one; nothing that is read has changed until `swap_in`."""

    new: Path
    summary: SiteSummary

    def swap_in(self) -> SiteSummary:
        """Put the new site in the old one's place; keep the old one if that fails, delete it if it doesn't."""
        site = self.summary.site
        refuse_foreign(site)
        old = pick_free(site, "old")
        try:
            put_in_place(self.new, site, old)
        except OSError as error:
            raise UserError("cannot-write", path=error.filename or site, why=error.strerror or error) from error
        # The new site stands: an old file that another program still holds is no error. The next run sweeps it.
        with suppress(OSError):
            remove_site(old)
        return self.summary


def build_site(db: Path, site: Path) -> SiteSummary:
    """Build every page of the site from the database and swap it in at `site`."""
    return prepare_site(db, site).swap_in()


def prepare_site(db: Path, site: Path, processes: int | None = None) -> PreparedSite:
    """Write every page into a new folder beside `site`, which stays as it is. processes: None means as a fleet of this size is worth."""
    db, site = Path(db), Path(site).absolute()
    refuse_foreign(site)
    new = site
    try:
        sweep_leftovers(site)
        with keep_from_collector() as all_is_read:
            with database.open_database(db) as con:
                context = list_page.name_units(con, database.read_context(con, db))
            new = pick_free(site, "new")
            folder = Folder.beside(new, site)
            start_folder(folder)
            if processes is None:
                processes = count_processors() if len(context.unit_pages) >= MANY_UNITS else 1
            render.load_templates()
            with write_units_beside(db, context, folder, processes) as units:
                with database.open_database(db) as con:
                    read = read_shared(con, context, folder)
                charts.load_forms()
                all_is_read()
                paths = write_all(db, read, folder, processes) + [path for part in units.finish() for path in part]
        return PreparedSite(new, sum_up(site, new, paths))
    except BaseException as error:
        if new != site:
            with suppress(OSError):
                remove_site(new)
        if isinstance(error, OSError):
            raise UserError("cannot-write", path=error.filename or site, why=error.strerror or error) from error
        raise


def refuse_foreign(site: Path) -> None:
    """Stop before a folder that isn't a site of ours, or a file, would be replaced."""
    if is_foreign(Path(site)):
        raise UserError("not-our-site", site=site)


def start_folder(folder: Folder) -> None:
    """The marker first, then the style sheet, our script, and plotly.js of the installed plotly."""
    Path(folder.new).mkdir(parents=True)
    folder.write(MARKER, b"This folder is written whole by firekpi; keep nothing of your own in it.\n")
    for name in ASSETS:
        folder.write(f"assets/{name}", files("dashboards").joinpath("assets", name).read_bytes())
    folder.write("assets/plotly.min.js", (files("plotly") / "package_data" / "plotly.min.js").read_bytes())


def write_calendars(con: duckdb.DuckDBPyConnection, context: Context, folder: Folder) -> Context:
    """The calendar files; returns the context in which pages lead to them."""
    calendars = dict(due_calendar.list_calendars(due_items.read_items(con, context, due_calendar.AHEAD_DAYS), context))
    for path, content in calendars.items():
        folder.write(path, content)
    return replace(context, calendars=frozenset(calendars))


@dataclass(frozen=True)
class Shared:
    """What pages are written from by every process, read before the database is closed."""

    context: Context
    book: ListBook
    vessels: Callable[[str], VesselData]


def read_shared(con: duckdb.DuckDBPyConnection, context: Context, folder: Folder) -> Shared:
    """The calendars are written here, since pages lead to those that there are."""
    context = write_calendars(con, context, folder)
    book, context = list_page.read_book(con, context)
    return Shared(context, book, vessel_data.read_all(con, context, AHEAD_DAYS))


def write_units_beside(db: Path, context: Context, folder: Folder, processes: int) -> Beside:
    """The units' pages, which lead to no list and so wait for nothing."""

    def write(part: Sequence[str]) -> list[str]:
        with database.open_database(db) as con:
            return write_pages(unit.make_pages(con, context, part), context, folder)

    return Beside(write, split_evenly(sorted(context.unit_pages), min(PARTS_BESIDE * processes, MOST_PARTS)), processes)


def write_all(db: Path, read: Shared, folder: Folder, processes: int) -> list[str]:
    """Every other page, shared out to processes; which lists are asked for is known when the fleet's pages and the vessels' are written."""
    context = read.context
    imo_numbers = [vessel.imo_number for vessel in context.vessels]

    def share(write: Callable[[Sequence], Iterator[Page]], parts: Sequence[Sequence]) -> list[str]:
        known = frozenset(context.lists.asked)

        def work(part: Sequence) -> tuple[list[str], set[str]]:
            return write_pages(write(part), context, folder), context.lists.asked - known

        done = share_work(work, parts, processes)
        context.lists.asked.update(*(asked for _, asked in done))
        return [path for paths, _ in done for path in paths]

    def split(things: Sequence) -> list[Sequence]:
        return split_evenly(things, PARTS_A_PROCESS * processes)

    def write_fleet(places: Sequence[int]) -> Iterator[Page]:
        with database.open_database(db) as con:
            for module in (FLEET_PAGES[place] for place in places):
                yield from module.make_pages(con, context) if module is fleet else (module.make_page(con, context),)

    paths = share(write_fleet, [[place] for place in range(len(FLEET_PAGES))])
    paths += share(lambda part: vessel.make_pages(read.vessels, context, part), split(imo_numbers))
    paths += share(lambda part: vessel_sheet.make_pages(read.vessels, context, part), split(imo_numbers))
    # the fleet's lists first: they are the longest, and the process that had them last would be waited for
    lists = sorted(context.lists.asked, key=lambda path: (not path.startswith(f"list/{FLEET}/"), path))
    return paths + share(lambda part: list_page.make_pages(read.book, context, part), split(lists))


def write_pages(pages: Iterable[Page], context: Context, folder: Folder) -> list[str]:
    """Write them one by one; return their paths in order."""
    env, paths = render.make_environment(), []
    for page in pages:
        render.write_page(env, context, page, folder)
        paths.append(page.path)
    return paths


def sum_up(site: Path, new: Path, paths: list[str]) -> SiteSummary:
    """Count what was written."""
    sizes = {path: (new / path).stat().st_size for path in paths}
    heaviest = max(sizes, key=lambda path: sizes[path])
    twins = sum(1 for _ in (new / "data").rglob("*.csv"))
    return SiteSummary(site, tuple(paths), twins, heaviest, sizes[heaviest])


def put_in_place(new: Path, site: Path, old: Path) -> None:
    """The new site takes the old one's place in one step where the system can do that, else by two renames.

    Whatever stops it between the two, even a key pressed, leaves the old site where it was; after a kill the next run does.
    """
    if site.exists() and exchange_folders(new, site):
        with suppress(OSError):  # it has been replaced, whatever it is called: the next run sweeps it
            new.rename(old)
        return
    try:
        if site.exists():
            site.rename(old)
        new.rename(site)
    except BaseException:
        if old.exists() and not site.exists():
            old.rename(site)
        raise
