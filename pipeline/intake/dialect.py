"""Dialects: how one source writes its files, as frozen values. In: nothing. Out: the dataclasses that reading uses.

A dialect TOML becomes a `Dialect` in read_dialect.py, which checks every key.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fnmatch import fnmatchcase


@dataclass(frozen=True)
class Source:
    """Where one canonical column comes from: a header or a constant, and how its cells read."""

    header: str | None = None
    constant: str | None = None
    words: dict[str, str] = field(default_factory=dict)
    formats: tuple[str, ...] = ()
    unit: str | None = None
    prefix: str = ""
    precision_into: str | None = None
    is_optional: bool = False


@dataclass(frozen=True)
class Wide:
    """A check list with a column per value of `into`; each cell that says something makes a row.

    A cell with a word that `cells` lacks is reported as an unknown word of `word_column`.
    """

    into: str
    headers: dict[str, str]
    none_words: tuple[str, ...]
    cells: dict[str, dict[str, str]]
    word_column: str


@dataclass(frozen=True)
class Feed:
    """One canonical table that the records of a file feed."""

    table: str
    columns: dict[str, Source]
    when: tuple[str, tuple[str, ...]] | None = None
    wide: Wide | None = None


@dataclass(frozen=True)
class Dialect:
    """How one source writes. `digest` changes whenever its meaning does."""

    name: str
    files: tuple[str, ...]
    feeds: tuple[Feed, ...]
    digest: str
    encoding: str = "utf-8"
    delimiter: str = ","
    decimal_mark: str = "."
    thousands_mark: str = ""
    null_words: tuple[str, ...] = ()
    skip_head: int = 0
    skip_foot: int = 0
    ignore_columns: tuple[str, ...] = ()

    def reads(self, inner_path: str) -> bool:
        """Whether one of the `files` globs matches the path within its folder."""
        return any(fnmatchcase(inner_path, pattern) for pattern in self.files)

    def wanted_headers(self) -> dict[str, bool]:
        """Every header the dialect names -> whether a file must have it."""
        wanted: dict[str, bool] = {}
        for feed in self.feeds:
            for source in feed.columns.values():
                if source.header is not None:
                    wanted[source.header] = wanted.get(source.header, False) or not source.is_optional
            if feed.when:
                wanted[feed.when[0]] = True
            for header in feed.wide.headers if feed.wide else ():
                wanted[header] = True
        return wanted
