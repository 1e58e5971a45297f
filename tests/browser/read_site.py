"""Reads a built site back, without a browser: tables, charts, links and CSV twins as plain values."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

# Folders of the site that hold pages. Those that lists and units fill hold thousands, each like the others.
FOLDERS = ("vessel", "unit", "list")
DRILLS = ("unit", "list")


@dataclass
class ParsedPage:
    """What a page holds. Charts and tables go by their own name, as their CSV twins do (`<page>-<name>.csv`)."""

    path: Path
    ids: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    downloads: list[Path] = field(default_factory=list)
    charts: dict[str, dict] = field(default_factory=dict)
    tables: dict[str, list[list[str]]] = field(default_factory=dict)
    text: str = ""

    def find_twin(self, name: str) -> Path | None:
        """The CSV that the page offers for a chart or table of this name."""
        page = "fleet" if self.path.stem == "index" else self.path.stem
        return next((path for path in self.downloads if path.name == f"{page}-{name}.csv"), None)


class PageParser(HTMLParser):
    """Collects a ParsedPage."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.page = ParsedPage(path)
        folders = path.parts[:-1]
        depth = next((n for n in (1, 2) if len(folders) >= n and folders[-n] in FOLDERS), 0)
        self.stem = "-".join((*folders[len(folders) - depth :], path.stem))
        self.chart = self.table = ""
        self.cell: list[str] | None = None
        self.in_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {key: value or "" for key, value in attrs}
        self.page.ids += [named["id"]] if "id" in named else []
        self.page.links += [named[key] for key in ("href", "src") if key in named]
        if "download" in named:
            self.page.downloads.append((self.page.path.parent / named["href"]).resolve())
        if tag == "script":
            self.in_script, self.chart = True, named.get("data-chart", "").removeprefix(f"{self.stem}-")
        elif tag == "table":
            self.table = named["id"].removeprefix(f"{self.stem}-table-")
            self.page.tables[self.table] = []
        elif tag == "tr":
            self.page.tables[self.table].append([])
        elif tag in ("td", "th"):
            self.cell = []

    def handle_endtag(self, tag: str) -> None:
        if tag == "script":
            self.in_script = False
        elif tag in ("td", "th"):
            self.page.tables[self.table][-1].append("".join(self.cell or []))
            self.cell = None

    def handle_data(self, data: str) -> None:
        if self.in_script:
            if self.chart:
                self.page.charts[self.chart] = json.loads(data)
            return
        self.page.text += data
        if self.cell is not None:
            self.cell.append(data)


def read_page(path: Path) -> ParsedPage:
    """Parse one page."""
    parser = PageParser(path.resolve())
    parser.feed(path.read_text(encoding="utf-8"))
    return parser.page


def find_pages(site: Path) -> list[Path]:
    """Every page of a site but the lists and the units' pages, which tests/browser/test_drill.py looks at."""
    return sorted(path for path in site.rglob("*.html") if path.relative_to(site).parts[0] not in DRILLS)


def read_pages(site: Path) -> list[ParsedPage]:
    """Parse them."""
    return [read_page(path) for path in find_pages(site)]


def read_twin(path: Path | None) -> list[dict[str, str]]:
    """A CSV twin as dicts."""
    assert path, "no CSV twin is offered"
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
