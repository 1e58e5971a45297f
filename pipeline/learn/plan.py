"""A dialect in the making, as frozen values: each proposal with how sure it is and what speaks for it."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.learn.sheet import Sheet


@dataclass(frozen=True)
class Choice:
    """A text of the dialect. An unsure one is written with "?" before it; a text of None is a bare "?".

    `stand_in` is what a dry run takes where there is no text; without one it leaves the thing out.
    """

    text: str | None
    is_sure: bool = True
    stand_in: str | None = None


@dataclass(frozen=True)
class WordPlan:
    """A word of the source, what it is proposed to mean, how sure that is, and in how many cells it stands."""

    word: str
    target: str | None
    score: float
    count: int
    is_sure: bool


@dataclass(frozen=True)
class ColumnPlan:
    """One canonical column: from a header or a constant. `notes` are what a person should know of it."""

    name: str
    source: Choice
    is_constant: bool = False
    score: float = 0.0
    why: str = ""
    examples: tuple[str, ...] = ()
    words: tuple[WordPlan, ...] = ()
    unit: Choice | None = None
    formats: tuple[Choice, ...] = ()
    precision_into: str | None = None
    suffixes: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class IgnoredPlan:
    """A header without a column: why, and its commonest cells. A sure one is not to be read."""

    header: Choice
    why: str
    examples: tuple[str, ...]


@dataclass(frozen=True)
class WidePlan:
    """A check list: header -> component, words that mean nothing found, words that mean a defect."""

    headers: tuple[tuple[str, Choice], ...]
    none_words: tuple[Choice, ...]
    cells: tuple[WordPlan, ...]


@dataclass(frozen=True)
class FeedPlan:
    """One [[table]]."""

    table: Choice
    columns: tuple[ColumnPlan, ...]
    when: tuple[str, tuple[Choice, ...]] | None = None
    wide: WidePlan | None = None


@dataclass(frozen=True)
class Plan:
    """The whole draft before it is written."""

    name: str
    about: str
    files: tuple[str, ...]
    sheet: Sheet
    decimal_mark: Choice
    thousands_mark: Choice
    marks_why: str
    thousands_why: str
    date_formats: tuple[Choice, ...]
    dates_why: str
    null_words: tuple[tuple[Choice, int], ...]
    ignored: tuple[IgnoredPlan, ...]
    feeds: tuple[FeedPlan, ...]
    months: tuple[tuple[str, int], ...] = ()
    notes: tuple[str, ...] = field(default=())
