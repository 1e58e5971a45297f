"""A check list with a column a part. In: profiles. Out: which headers are parts, and what their marks mean."""

from __future__ import annotations

from collections import Counter

from pipeline.learn.plan import Choice, WidePlan, WordPlan
from pipeline.learn.profile import Profile, is_null_word
from pipeline.learn.vocabulary import WORD_SURE, known_columns, match_word, plain, read_data

LEAST_PARTS = 3
LEAST_SCORE = 0.7
MOST_WORDS = 25
LONGEST = 25
MOSTLY = 0.5
# Signs that in an else empty column say that something is there to see, not that nothing is.
TICKS = frozenset("x 1 ✓ ✔ ✗ ✘ v * + o".split())


def find_wide(profiles: dict[str, Profile]) -> dict[str, str]:
    """Headers of a check list (header -> component): named after parts, most cells blank or saying that nothing was found."""
    named: dict[str, tuple[str, float]] = {}
    for header, profile in profiles.items():
        part, score = match_word("component", profile.bare)
        if part and score >= LEAST_SCORE and _is_marks(profile) and score > named.get(part, ("", 0.0))[1]:
            named[part] = (header, score)
    found = {header: part for part, (header, _) in named.items()}
    found = {header: found[header] for header in profiles if header in found}
    rows = max((sum((p.cells + p.nulls).values()) for p in profiles.values()), default=0)
    quiet = set(_quiet_words(_count_cells(found, profiles), rows * len(found)))
    found = {header: part for header, part in found.items() if _is_quiet(profiles[header], quiet, rows)}
    told = sum(bool(profiles[header].cells + profiles[header].nulls) for header in found)
    return found if told >= LEAST_PARTS or (told and len(found) > LEAST_PARTS) else {}


def _is_quiet(profile: Profile, quiet: set[str], rows: int) -> bool:
    """Whether most records say that nothing is wrong with the part, in words or by a blank."""
    loud = sum(count for cell, count in (profile.cells + profile.nulls).items() if cell.lower() not in quiet)
    return loud <= MOSTLY * rows


def _is_marks(profile: Profile) -> bool:
    cells = profile.cells + profile.nulls
    is_measured = profile.unit is not None or (
        profile.number_share > MOSTLY and not all(len(cell) == 1 for cell in profile.cells)
    )
    if is_measured or (not cells and known_columns(plain(profile.header))):
        return False
    return len(cells) <= MOST_WORDS and all(len(cell) <= LONGEST for cell in cells) and profile.date_share < MOSTLY


def _count_cells(headers: dict[str, str], profiles: dict[str, Profile]) -> Counter[str]:
    counted: Counter[str] = Counter()
    for header in headers:
        for cell, count in (profiles[header].cells + profiles[header].nulls).items():
            counted[cell.lower()] += count
    return counted


def _quiet_words(cells: Counter[str], rows: int) -> list[str]:
    """Words that say that nothing was found: known ones, and whatever short sign most cells hold."""
    if not cells:
        return []
    known = read_data("marks.toml")["wide_none_words"]
    top, count = cells.most_common(1)[0]
    is_tick = top in TICKS and count < MOSTLY * rows
    quiet = [word for word in cells if is_null_word(word) or (word in known and not _is_code(word))]
    if not is_tick and top not in quiet and (top in known or (len(top) <= 3 and count >= 0.6 * sum(cells.values()))):
        quiet.append(top)
    return quiet


def _is_code(word: str) -> bool:
    return len(word) == 1 and (word.isalnum() or word in TICKS)


def plan_wide(headers: dict[str, str], profiles: dict[str, Profile]) -> WidePlan:
    """What the marks of a check list mean; a bare letter or digit is always asked for."""
    cells = _count_cells(headers, profiles)
    rows = max(sum((p.cells + p.nulls).values()) for p in profiles.values()) * len(headers)
    quiet = _quiet_words(cells, rows)
    parts = tuple((h, Choice(part, match_word("component", profiles[h].bare)[1] >= WORD_SURE)) for h, part in headers.items())
    known = read_data("marks.toml")["wide_none_words"]
    none_words = tuple(
        Choice(word, is_null_word(word) or (word in known and (not _is_code(word) or word in ("✓", "✔"))))
        for word in sorted(quiet)
    )
    planned = tuple(_plan_cell(word, count) for word, count in cells.most_common() if word not in quiet)
    return WidePlan(parts, none_words, planned)


def _plan_cell(word: str, count: int) -> WordPlan:
    """A digit behind a word of rust is its grade: the word without it is what is looked up. A mark that only says 'no' says
    not what is wrong."""
    target, score = match_word("defect", word.rstrip("0123456789 ") or word)
    if target is None or _is_code(word):
        says_no = (
            match_word("outcome", word)[0] == "unsatisfactory" or match_word("boolean", word)[0] == "false" or _is_code(word)
        )
        return WordPlan(word, "other" if says_no else None, 0.4 if says_no else 0.0, count, False)
    return WordPlan(word, target, score, count, score >= WORD_SURE)
