"""What the trade calls things, and how near a text comes to it. In: the TOML files beside this one. Out: scores 0..1.

The one place where texts are compared: case, accents and punctuation don't count, near misses are measured by RapidFuzz.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from functools import cache, lru_cache
from importlib.resources import files

from rapidfuzz import fuzz, process

from pipeline import contract
from pipeline.contract import Column

# Letters that Unicode doesn't decompose.
PLAIN = str.maketrans({"ß": "ss", "ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "ı": "i"})
# Words that turn a meaning round: a near match that lacks them is worth little.
NEGATIONS = frozenset(
    "not no nicht kein keine niet geen non pas sans ikke ej inte nie ne nema sin ohne zonder without un".split()
)
# Words that say only 'number' and the like: they don't tell one header from another.
EMPTY_WORDS = frozenset(
    "no nr number num n br ref the of de der des die du la le el il den det van von in on at and und et y".split()
)
SURE_LETTERS = frozenset("y n j x 1 0 ✓ ✔".split())
WORD_SURE, WORD_NEAR = 0.88, 0.6
GENERIC_DATE = 0.9
# What a header that is known for one column may at most be worth for another.
KNOWN_ELSEWHERE = 0.4
REQUIRED = 0.85
EVENT_DATES = ("inspected_on", "serviced_on", "found_on", "counted_on")


@cache
def read_data(name: str) -> dict:
    """One of the TOML files of this package."""
    return tomllib.loads(files("pipeline.learn").joinpath(name).read_text(encoding="utf-8"))


@lru_cache(maxsize=50_000)
def plain(text: str) -> str:
    """Lower case without accents, words parted by one blank; signs without a letter or digit stay as they are."""
    return " ".join(re.findall(r"[^\W_]+", _unaccent(text))) or text.strip().lower()


def _unaccent(text: str) -> str:
    spaced = re.sub(r"(?<=[a-zà-ÿ])(?=[A-Z])", " ", text)
    lowered = unicodedata.normalize("NFKD", spaced.lower().translate(PLAIN))
    return "".join(char for char in lowered if not unicodedata.combining(char)).lower()


@cache
def header_phrases() -> dict[str, tuple[str, ...]]:
    """Plain header phrases by column name; `date` holds those that any event date may have."""
    found = {column: tuple(dict.fromkeys(plain(phrase) for phrase in phrases)) for column, phrases in _synonyms()}
    for table in contract.tables().values():
        for column in table.columns:
            own = plain(re.sub(r"_(kg|mm|bar|pct|l|s|m|c|on)$|^is_", "", column.name))
            found[column.name] = tuple(dict.fromkeys((own, plain(column.name), *found.get(column.name, ()))))
    return found


def _synonyms():
    for section in read_data("synonyms.toml").values():
        yield from section.items()


@lru_cache(maxsize=50_000)
def score_header(header: str, column: str) -> float:
    """How near a header (without its unit) comes to what the trade calls the column."""
    text, own = lengthen(header), plain(header)
    if column == "stated_next_due_on" and set(text.split()) & set(read_data("marks.toml")["past"]):
        return 0.0
    if column.startswith("required_") and column not in known_columns(own):
        # Where a list names no units, what stands at a place is what should stand there.
        return max(_score_known(header, text, own, column), REQUIRED * score_header(header, column.removeprefix("required_")))
    return _score_known(header, text, own, column)


def _score_known(header: str, text: str, own: str, column: str) -> float:
    known = known_columns(own) or known_columns(text)
    if known and column not in known:
        shared = max((_share_words(frozenset(text.split()), phrase) for phrase in header_phrases().get(column, ())), default=0.0)
        return min(KNOWN_ELSEWHERE, shared)
    best = max(_score_phrases(text, header, header_phrases().get(column, ())), float(column in known_columns(own)))
    if column in EVENT_DATES:
        best = max(best, GENERIC_DATE * _score_phrases(text, header, header_phrases()["date"]))
    return best


def lengthen(header: str) -> str:
    """A plain header with its usual abbreviations written out."""
    short = read_data("marks.toml")["abbreviations"]
    return " ".join(short.get(word, word) for word in plain(header).split())


@cache
def _phrase_index() -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for column, phrases in header_phrases().items():
        for phrase in phrases:
            found.setdefault(phrase, set()).update(EVENT_DATES if column == "date" else (column,))
    return {phrase: frozenset(columns) for phrase, columns in found.items()}


def known_columns(text: str) -> frozenset[str]:
    """The columns for which a plain text is a listed header."""
    return _phrase_index().get(text, frozenset())


def _score_phrases(text: str, header: str, phrases: tuple[str, ...]) -> float:
    if text in phrases:
        return 1.0
    telling = frozenset(text.split()) - EMPTY_WORDS
    tokens = _short_tokens(header)
    best = max((_score_phrase(text, telling, phrase) for phrase in phrases), default=0.0)
    return max(best, max((_score_short(tokens, phrase) for phrase in phrases), default=0.0) if tokens else 0.0)


@lru_cache(maxsize=5_000)
def _short_tokens(header: str) -> tuple[tuple[str, bool], ...]:
    """Words of a header, each with whether a point marks it as cut short; none where nothing is."""
    found = [(word.rstrip("."), word.endswith(".")) for word in re.findall(r"[^\W_]+\.?", _unaccent(header))]
    return tuple(found) if any(is_cut and len(word) > 1 for word, is_cut in found) else ()


def _score_short(tokens: tuple[tuple[str, bool], ...], phrase: str) -> float:
    """Each word whole, or its beginning with a point behind; one word alone tells less."""
    words = phrase.split()
    if len(words) != len(tokens):
        return 0.0
    fits = all(
        token == word or (is_cut and len(token) > 1 and word.startswith(token))
        for (token, is_cut), word in zip(tokens, words, strict=True)
    )
    return (0.93 if len(words) > 1 or len(tokens[0][0]) > 3 else 0.8) if fits else 0.0


def _score_phrase(text: str, words: frozenset[str], phrase: str) -> float:
    """Same telling words, one within the other, a slip of the pen, or a part of a compound word."""
    best = _share_words(words, phrase)
    near = max(fuzz.ratio(text, phrase, score_cutoff=78), fuzz.token_sort_ratio(text, phrase, score_cutoff=78)) / 100
    compact, part = text.replace(" ", ""), phrase.replace(" ", "")
    if len(part) >= 4 and part in compact:
        # The last part of a Germanic compound is what the thing is, the first only what it is of, if anything.
        share = len(part) / len(compact)
        best = max(best, 0.6 + 0.4 * share if compact.endswith(part) else 0.35 + 0.35 * share)
    return max(best, 0.95 * near if len(text) >= 5 else 0.0)


def _share_words(words: frozenset[str], phrase: str) -> float:
    """By the telling words alone: the same, one within the other, or some in common, which makes a proposal, never more."""
    every = frozenset(phrase.split())
    own, words, asked = every - EMPTY_WORDS, words - EMPTY_WORDS, words
    if not own or not words:
        return 0.0
    if own == words:
        return 0.97 if every == asked else 0.92
    if own < words:
        return 0.62 + 0.33 * sum(map(len, own)) / sum(map(len, words))
    if words < own:
        return 0.5 + 0.3 * sum(map(len, words)) / sum(map(len, own))
    return 0.34 + 0.4 * sum(map(len, own & words)) / sum(map(len, own | words)) if own & words else 0.0


@cache
def word_book(key: str) -> dict[str, str]:
    """Plain words of one vocabulary -> canonical word; `key` is a column name or 'boolean'."""
    section = read_data("words.toml").get(key, {})
    if "same_as" in section:
        section = read_data("words.toml")[section["same_as"]]
    found: dict[str, str] = {}
    for target, words in section.items():
        for word in (target, *words):
            found.setdefault(plain(word), target)
    return found


def book_key(column: Column) -> str:
    return "boolean" if column.type == "boolean" else column.name


def match_column(column: Column, value: str) -> tuple[str | None, float]:
    """As `match_word`, but never a word that the column of this table doesn't have: a service can't be 'not found'."""
    target, score = match_word(book_key(column), value)
    return (target, score) if column.type == "boolean" or target in column.words else (None, 0.0)


@lru_cache(maxsize=50_000)
def match_word(key: str, value: str) -> tuple[str | None, float]:
    """The canonical word nearest to a value and how sure that is; (None, 0) where nothing is near.

    A question mark in the cell is somebody's doubt, and stays one.
    """
    if "?" in value:
        target, score = match_word(key, value.replace("?", " ").strip())
        return target, min(score, 0.6)
    book, text = word_book(key), plain(value)
    if text in book:
        is_letter = len(text) == 1 and text not in SURE_LETTERS
        return book[text], (0.6 if is_letter and key != "boolean" else 0.8 if is_letter else 1.0)
    if len(text) < 3 or key == "boolean":
        return None, 0.0
    if (long := lengthen(value)) in book:
        return book[long], 0.93
    found = [_match_bare(text, book), _match_part(text, book), _match_near(text, book)]
    target, score = max(found, key=lambda pair: pair[1])
    return (target, score) if score >= WORD_NEAR else (None, 0.0)


def _match_bare(text: str, book: dict[str, str]) -> tuple[str | None, float]:
    """A known word with nothing beside it but a size and words that say no more than 'extinguisher'."""
    bare = re.sub(r"\b\d+ ?(?:kg|l|lb|lbs|ltr|g|ml|gal)?\b", " ", text)
    for part in sorted(read_data("marks.toml")["noise_parts"], key=len, reverse=True):
        bare = bare.replace(part, " ")
    words = bare.split()
    targets = {book.get(" ".join(words))} if " ".join(words) in book else {book.get(word) for word in words}
    return (targets.pop(), 0.93) if words and len(targets) == 1 and None not in targets else (None, 0.0)


def _match_part(text: str, book: dict[str, str]) -> tuple[str | None, float]:
    """A known word within the value, as a word of its own or as part of a compound."""
    words, best = set(text.split()), (None, 0.0)
    for phrase, target in book.items():
        own = set(phrase.split())
        is_word = len(phrase) >= 3 and own <= words
        is_part = len(phrase) >= 5 and phrase.replace(" ", "") in text.replace(" ", "")
        if is_word or is_part:
            share = len(phrase) / len(text)
            score = min(0.87, (0.6 if is_word else 0.55) + 0.35 * share)
            if (words - own) & NEGATIONS:
                score *= 0.5
            best = max(best, (target, score), key=lambda pair: pair[1])
    return best


def _match_near(text: str, book: dict[str, str]) -> tuple[str | None, float]:
    """The word with the fewest slips of the pen between."""
    found = process.extractOne(text, book.keys(), scorer=fuzz.ratio, score_cutoff=72)
    if found is None:
        return None, 0.0
    score = found[1] / 100
    is_turned = (set(text.split()) & NEGATIONS) != (set(found[0].split()) & NEGATIONS)
    return book[found[0]], score * (0.5 if is_turned else 1.0) * (1.0 if len(text) >= 6 else 0.9)
