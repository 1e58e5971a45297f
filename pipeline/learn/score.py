"""How well each header fits each canonical column: its words, then what its cells allow. In: profiles. Out: scores 0..1."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline import contract
from pipeline.contract import Column
from pipeline.learn.profile import Profile, word_share
from pipeline.learn.vocabulary import EVENT_DATES, plain, read_data, score_header

SURE, LEAST = 0.7, 0.42
# Few columns are kept in these: a header with such a unit is one of them, whatever else it says.
SELDOM_UNITS = ("bar", "s", "m", "C")
Slot = tuple[str, str]  # table and column


@dataclass(frozen=True)
class Fit:
    """How well a header fits a column, what speaks for it, and how well its words alone do."""

    score: float
    why: str
    named: float = 0.0


def score_all(profiles: dict[str, Profile]) -> dict[Slot, dict[str, Fit]]:
    """Fits worth a thought by table and column, then header."""
    found: dict[Slot, dict[str, Fit]] = {}
    known: dict[tuple[str, str], Fit] = {}
    for table in contract.tables().values():
        for column in table.columns:
            fits = {}
            for header, profile in profiles.items():
                key = (column.name, header)
                known[key] = known[key] if key in known else score_fit(profile, column)
                if known[key].score >= LEAST:
                    fits[header] = known[key]
            found[table.name, column.name] = fits
    return found


def score_fit(profile: Profile, column: Column) -> Fit:
    """The words of the header times what the cells allow; cells that speak for themselves need no header."""
    named = _score_name(profile, column)
    allowed, why = _allow(profile, column)
    spoken = _speak(profile, column)
    score = named * allowed
    if spoken > 0.5 and named >= 0.5:
        score = min(1.0, score + 0.1)
    if spoken > score:
        return Fit(spoken, "by its cells" if named < 0.5 else "by header and cells", named)
    shown = why if allowed < 0.8 else "by header and cells" if profile.filled else "by its header; it is empty"
    return Fit(score, shown, named)


def _score_name(profile: Profile, column: Column) -> float:
    if profile.unit is None or profile.bare == profile.header:
        named = score_header(profile.header, column.name)
        # 'Type' may be the type of anything: only cells that are known words tell of what.
        return min(named, 0.6) if is_vague(profile.header) and column.type == "text" and column.name != "vessel_type" else named
    is_unit = column.unit is not None and profile.unit in contract.conversions(column.unit)
    # A last word that is a unit elsewhere ('taken in') may be a plain word here.
    return score_header(profile.bare, column.name) if is_unit else 0.6 * score_header(profile.header, column.name)


def is_vague(header: str) -> bool:
    """Whether a header says no more than 'kind'."""
    return plain(header) in {plain(word) for word in read_data("marks.toml")["vague"]}


def _allow(profile: Profile, column: Column) -> tuple[float, str]:
    """1 where the cells can be this column, near 0 where they can't."""
    if not profile.filled:
        return 0.9, "it is empty"
    if column.type == "date":
        return _allow_date(profile, column)
    if column.type in ("decimal", "integer"):
        return _allow_number(profile, column)
    if column.type in ("word", "boolean"):
        # Where the header says what the column is, near words are enough; each is marked on its own.
        share, _ = word_share(profile, column, least=0.6)
        if column.type == "boolean":
            return 0.1 + 0.9 * share, "few of its cells say yes or no"
        if share < 0.3 and (len(profile.cells) > 60 or max(profile.date_share, profile.number_share) > 0.8):
            return 0.1, "its cells are no words of the vocabulary"
        return 0.45 + 0.55 * share, "many of its words are unknown"
    return _allow_text(profile, column)


def _allow_date(profile: Profile, column: Column) -> tuple[float, str]:
    share = profile.dates.share if profile.dates else 0.0
    if column.name in ("made_on", "stated_next_due_on") or (profile.dates and profile.dates.months):
        share = profile.date_share
    return (1.0 if share >= 0.8 else 0.8 if share >= 0.5 else 0.1), "few of its cells are dates"


def _allow_number(profile: Profile, column: Column) -> tuple[float, str]:
    if profile.suffixes and column.unit:
        fits = profile.suffix_units & set(contract.conversions(column.unit))
        return (0.97 if fits else 0.1), "its cells carry another unit"
    if profile.number_share < 0.5 or (profile.dates and profile.dates.share > 0.8):
        return 0.1, "few of its cells are numbers"
    if column.type == "integer" and column.name == "built_year":
        years = sum(count for cell, count in profile.cells.items() if re.fullmatch(r"(18|19|20)\d\d", cell))
        return 0.2 + 0.8 * years / profile.filled, "its cells are no years"
    return (1.0 if profile.number_share >= 0.8 else 0.75), "many of its cells are no numbers"


def _allow_text(profile: Profile, column: Column) -> tuple[float, str]:
    if profile.dates and profile.dates.share > 0.8:
        return 0.2, "its cells are dates"
    if column.name == "imo_number":
        return (1.0 if profile.imo_share >= 0.8 else 0.6), "many of its cells are no valid IMO numbers"
    if column.name == "unit_id":
        if profile.imo_share > 0.8 and profile.filled > 2:
            return 0.1, "its cells are IMO numbers"
        return (1.0 if profile.digit_share >= 0.7 else 0.4), "few of its cells hold a digit"
    if column.name == "flag":
        codes = sum(count for cell, count in profile.cells.items() if re.fullmatch("[A-Z]{2}", cell))
        return 0.5 + 0.5 * codes / profile.filled, "its cells are no two-letter codes"
    if column.name == "remarks" and _is_verdict(profile):
        return 0.4, "its cells say how a look went"
    has_words = column.name in ("position_no", "certificate_no", "model")
    if profile.number_share > 0.9 and not has_words:
        return 0.5, "its cells are numbers"
    if word_share(profile, contract.tables()["unit"].column("is_spare"))[0] > 0.9:
        return 0.4, "its cells say yes or no"
    return 1.0, ""


def _is_verdict(profile: Profile) -> bool:
    """Whether remarks are but a few words of how a look went."""
    share, kinds = word_share(profile, contract.tables()["inspection"].column("outcome"))
    return share >= 0.9 and kinds >= 2 and len(profile.cells) <= 8


def _speak(profile: Profile, column: Column) -> float:
    """What the cells alone say for a column."""
    if not profile.filled:
        return 0.0
    if column.name == "imo_number":
        return 0.95 if profile.imo_share >= 0.9 else 0.0
    if column.name == "unit_id" and re.search(r"num|\bn[ro]\b|ident|\bid\b|[ck]od", plain(profile.header)):
        is_id = profile.digit_share >= 0.9 and profile.imo_share < 0.5 and not profile.dates and len(profile.cells) > 2
        return 0.5 if is_id else 0.0
    if column.name == "rust_grade":
        return 0.8 if word_share(profile, column)[0] >= 0.9 else 0.0
    if column.name in EVENT_DATES and profile.dates and profile.dates.share >= 0.9:
        return LEAST
    if profile.unit and column.unit in SELDOM_UNITS and profile.unit in contract.conversions(column.unit):
        return LEAST if profile.number_share >= 0.8 else 0.0
    if column.type == "word" and column.name not in ("found_by", "made_on_precision", "required_agent"):
        share, kinds = word_share(profile, column)
        if is_vague(profile.header) and kinds >= 2 and share >= 0.6:
            return 0.9 * share
        return (0.55 if kinds > 2 else 0.5) * share if share >= 0.8 and kinds >= 2 else 0.0
    return 0.0
