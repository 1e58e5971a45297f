"""Dialects: how one source writes its files, as frozen values. In: nothing. Out: the dataclasses that reading uses.

A dialect TOML becomes a `Dialect` in read_dialect.py, which checks every key.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from fnmatch import fnmatchcase


@dataclass(frozen=True)
class Source:
    """Where one canonical column comes from: a header or a constant, and how its cells read.

    `match` names what may differ between a unit's number here and in the register: spacing, case, leading_zeros.
    `suffixes` are the units that the cells carry (lower case, no spaces) -> unit of measure; `foreign` those that only other
    columns of the same header know: their cells are empty here.
    """

    header: str | None = None
    constant: str | None = None
    words: dict[str, str] = field(default_factory=dict)
    formats: tuple[str, ...] = ()
    unit: str | None = None
    prefix: str = ""
    precision_into: str | None = None
    is_optional: bool = False
    match: tuple[str, ...] = ()
    suffixes: dict[str, str] = field(default_factory=dict)
    foreign: tuple[str, ...] = ()


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
    """One canonical table that the records of a file feed.

    `full_dump` says that a file lists all there is: of each "vessel" it names, or of the whole "fleet"; what a later one
    lacks has vanished.
    """

    table: str
    columns: dict[str, Source]
    when: tuple[str, tuple[str, ...]] | None = None
    wide: Wide | None = None
    full_dump: str | None = None


@dataclass(frozen=True)
class TotalRow:
    """Records that sum up others: the cell under `header` is one of `words` or begins with one of `begins` (lower case)."""

    header: str
    words: tuple[str, ...]
    begins: tuple[str, ...]


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
    months: dict[str, int] = field(default_factory=dict)
    has_repeated_header: bool = False
    total_rows: tuple[TotalRow, ...] = ()

    def reads(self, inner_path: str) -> bool:
        """Whether one of the `files` globs matches the path within its folder, with or without the ending .gz."""
        return any(fnmatchcase(name, pattern) for name in {inner_path, plain_name(inner_path)} for pattern in self.files)

    @property
    def sheet_name(self) -> str:
        return sheet_name(self.name)

    def wanted_headers(self) -> dict[str, bool]:
        """Every header the dialect names -> whether a file must have it."""
        wanted: dict[str, bool] = {}
        for feed in self.feeds:
            for source in feed.columns.values():
                if source.header is not None:
                    wanted[source.header] = wanted.get(source.header, False) or not source.is_optional
            if feed.when:
                wanted[feed.when[0]] = True
            wanted |= {rule.header: True for rule in self.total_rows}
            for header in feed.wide.headers if feed.wide else ():
                wanted[header] = True
        return wanted


def plain_name(inner_path: str) -> str:
    """The name of what is packed: without the ending .gz."""
    return inner_path[:-3] if inner_path.lower().endswith(".gz") else inner_path


def sheet_name(dialect: str) -> str:
    """How the sheet of a source's quarantined rows is called: what comes back under that name is read by its dialect."""
    plain = re.sub(r"[\W_]+", "-", dialect.lower()).strip("-")
    # Names that differ only in what a file name can't show get a tail, so that no sheet takes another's place.
    tail = "" if plain == dialect else f"-{hashlib.sha256(dialect.encode()).hexdigest()[:4]}"
    return f"quarantine-{plain or 'source'}{tail}"


def fold_word(word: str) -> str:
    """A word as it is compared: trimmed, each letter by itself in lower case, as lower_sql does it."""
    return "".join(letter.lower()[:1] for letter in word.strip()).replace("ς", "σ")
