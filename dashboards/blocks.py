"""What a page is made of: plain frozen values, no markup and no database.

In: nothing. Out: the dataclasses that page modules return and render.py writes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import NamedTuple

from markupsafe import Markup

from dashboards import words
from dashboards.rule_book import RuleBook

FLEET = "fleet"


@dataclass(frozen=True)
class Link:
    """A text that leads somewhere inside the site; `href` is relative to the site's root."""

    text: str
    href: str


@dataclass(frozen=True)
class Anchor:
    """A text that links may lead to by its id."""

    text: str
    anchor: str


@dataclass(frozen=True)
class Count:
    """A number that leads to the list of exactly what it counts, `href` from the site's root; `said` where it stands in words."""

    value: int
    href: str
    said: str = ""

    def write(self, root: str) -> Markup:
        """The number as a link, for a sentence of a page that lies at `root`."""
        return Markup('<a href="{}{}" data-count="{}">{}</a>').format(root, self.href, self.value, words.say_number(self.value))


@dataclass(frozen=True)
class Run:
    """A text of which parts lead somewhere."""

    parts: tuple[str | Link, ...]


@dataclass(frozen=True)
class Column:
    """One column: `key` heads it in the CSV, `heading` on the page; `kind` says how tables.py writes a cell.

    A column of the twin alone stands in the CSV and not on the page; a blank one stands on the page alone.
    """

    key: str
    heading: str
    kind: str = "text"
    is_filter: bool = False
    is_twin_only: bool = False

    @property
    def is_page_only(self) -> bool:
        """Room to write on holds nothing that a CSV could tell."""
        return self.kind in ("blank", "paper", "page_text", "page_number")


def name_columns(spec: str) -> tuple[Column, ...]:
    """Columns from one line: 'key=Heading; key=Heading:kind; key=Heading:kind filter; key=:kind twin'."""
    columns = []
    for part in spec.split("; "):
        key, _, rest = part.partition("=")
        heading, _, kind = rest.partition(":")
        kind, _, mark = kind.partition(" ")
        columns.append(Column(key, heading, kind or "text", mark == "filter", mark == "twin"))
    return tuple(columns)


class Line(tuple):
    """A row that stands in tables of many pages, of the same columns: its markup is kept, with the root that links in it start from."""

    written: tuple[str, str] | None = None


@dataclass(frozen=True)
class Table:
    """One table and its CSV twin. `shown` rows stand on the page, all of them in the CSV."""

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple, ...]
    empty: str = "Nothing to show."
    shown: int | None = None
    is_register: bool = False
    is_folded: bool = False
    has_twin: bool = True


@dataclass(frozen=True)
class Chart:
    """One chart: the title states the finding, the summary says it in words, the table holds what is drawn."""

    name: str
    title: str
    summary: str
    figure: dict
    table: Table
    is_table_open: bool = False


@dataclass(frozen=True)
class Fact:
    """One number with its name and what it is out of or compared with."""

    name: str
    value: str | Count
    note: str = ""


@dataclass(frozen=True)
class Facts:
    """A row of facts."""

    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Note:
    """A paragraph, and where it leads; `kind` is plain, empty or caution."""

    text: str
    kind: str = "plain"
    links: tuple[Link, ...] = ()


@dataclass(frozen=True)
class Definitions:
    """Terms and what they mean, as a definition list."""

    heading: str
    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Drawing:
    """A drawing that needs no script; `svg` is markup of ours, the title states the finding, the summary says it in words."""

    svg: Markup
    title: str
    summary: str


@dataclass(frozen=True)
class Choice:
    """What a reader may choose from: `parts` is what the script (choose or register) reads from a file of its own; `tables` are its CSVs."""

    name: str
    parts: dict
    tables: tuple[Table, ...]
    plain: str
    script: str = "choose"


@dataclass(frozen=True)
class Section:
    """A heading with its remark in the margin, and the evidence beside it."""

    name: str
    heading: str
    blocks: tuple[Chart | Table | Facts | Note | Definitions | Drawing | Choice, ...]
    remark: str = ""
    is_wide: bool = False


@dataclass(frozen=True)
class Page:
    """One page. `path` is relative to the site's root, `answer` may be markup built by Markup.format.

    A page that is alone is no part of a site: it leads to no other page and draws no chart. A sheet fits one page of paper.
    One of many is alike thousands but for its title, answer, first link and the rows of its table (moulds.py).
    """

    path: str
    title: str
    question: str
    answer: str
    sections: tuple[Section, ...]
    nav: str = ""
    crumbs: tuple[Link, ...] = ()
    siblings: tuple[Link, ...] = ()
    is_caution_on_top: bool = False
    is_alone: bool = False
    is_sheet: bool = False
    is_one_of_many: bool = False

    @property
    def has_chart(self) -> bool:
        """Whether the page needs the library that draws charts."""
        return any(isinstance(block, Chart) for section in self.sections for block in section.blocks)


@dataclass(frozen=True)
class Vessel:
    """One vessel of the fleet on the day."""

    imo_number: str
    name: str
    vessel_type: str
    flag: str
    is_laid_up: bool

    @cached_property
    def link(self) -> Link:
        """Its page."""
        return Link(self.name, f"vessel/{self.imo_number}.html")

    @property
    def sheet_href(self) -> str:
        """Its sheet of one page."""
        return f"vessel/{self.imo_number}-sheet.html"


@dataclass(frozen=True)
class Lists:
    """How long each list of units is, by its path without ending, and which of them a number on a page leads to."""

    lengths: dict[str, int]
    asked: set[str] = field(default_factory=set)


class Stamp(NamedTuple):
    """What every page says of the run that it comes from."""

    as_of: date
    known_at: datetime | None
    version: str
    rule_book_hash: str
    file_count: int


@dataclass(frozen=True)
class Context:
    """What every page needs to know of the run."""

    as_of: date
    known_at: datetime | None
    version: str
    rule_book_hash: str
    file_count: int
    vessels: tuple[Vessel, ...] = ()
    by_imo: dict[str, Vessel] = field(default_factory=dict)
    book: RuleBook = RuleBook()
    first_joins_on: date | None = None
    unit_pages: dict[str, str] = field(default_factory=dict)
    lists: Lists = field(default_factory=lambda: Lists({}))
    calendars: frozenset[str] = frozenset()

    @property
    def stamp(self) -> Stamp:
        """What the head and the foot of a page say."""
        return Stamp(self.as_of, self.known_at, self.version, self.rule_book_hash, self.file_count)

    @property
    def empty_why(self) -> str:
        """Why there is nothing to show, where the day lies before the first vessel of the records joins."""
        if self.vessels or self.first_joins_on is None:
            return ""
        return f" The first vessel of these records joins the fleet on {words.say_date(self.first_joins_on)}."

    def name_vessel(self, imo_number: str) -> str:
        """The vessel's name, or its number where it has left the fleet."""
        return self.by_imo[imo_number].name if imo_number in self.by_imo else imo_number

    def link_vessel(self, imo_number: str) -> Link | str:
        """A link to its page, or its number where it has none."""
        return self.by_imo[imo_number].link if imo_number in self.by_imo else imo_number

    def link_unit(self, unit_id: str, text: str = "") -> Link | str:
        """A link to a unit's page, or its number where it has none; `text` says more than the number."""
        href = self.unit_pages.get(unit_id)
        return Link(text or unit_id, href) if href else text or unit_id

    def count(self, value: int | None, name: str, scope: str = FLEET) -> int | Count | None:
        """The number with the list behind it. Where the list holds more or less than it says, or nothing, it leads nowhere."""
        path = f"list/{scope}/{name}"
        if not value or self.lists.lengths.get(path) != value:
            return value
        self.lists.asked.add(path)
        return Count(value, f"{path}.html")

    def tell_count(self, value: int, name: str, scope: str = FLEET) -> str | Count:
        """The same for a fact: in words where no list stands behind it."""
        number = self.count(value, name, scope)
        return number if isinstance(number, Count) else words.say_number(value)

    def say_count(self, value: int, name: str, scope: str = FLEET, root: str = "") -> str:
        """The same for a sentence of a page that lies at `root`."""
        number = self.tell_count(value, name, scope)
        return number.write(root) if isinstance(number, Count) else number
