"""Which encoding a file is in. In: bytes. Out: an `EncodingGuess` that decodes all of them strictly.

UTF-8 and UTF-16 prove themselves. Single-byte code pages don't: the words of the trade that come out under each decide, then
charset-normalizer, and where neither tells two different readings apart the guess is not sure.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from dataclasses import dataclass

from charset_normalizer import from_bytes

from pipeline.learn.vocabulary import plain, read_data

HIGH_WORD = re.compile(rb"[A-Za-z\x80-\xff]*[\x80-\xff][A-Za-z\x80-\xff]*")
SAMPLE_BYTES = 100_000
MOST_WORDS = 3_000
COMMON_LETTERS = frozenset("äöüßéèêëàâçîïôûùñóíúáøåæœØÅÆÄÖÜÉÈÀÇÑõãšžčćđłąęśżźńŁŚŻŽŠČ°–’‘“”€²³µ·±ºª¿¡«»№")


@dataclass(frozen=True)
class EncodingGuess:
    """A Python codec, whether it is beyond doubt, and why."""

    name: str
    is_sure: bool
    why: str


def guess_encoding(data: bytes) -> EncodingGuess | None:
    """The encoding of the bytes; None where they are no text in any that is tried."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return EncodingGuess("utf-16", True, "byte order mark") if _decodes(data, "utf-16") else None
    wide = _guess_wide(data)
    if wide:
        return wide
    if _decodes(data, "utf-8"):
        mark = data.startswith(b"\xef\xbb\xbf")
        return EncodingGuess("utf-8", True, "byte order mark" if mark else "valid UTF-8")
    return None if b"\0" in data else _guess_page(data)


def _decodes(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeError:
        return False
    return True


def _guess_wide(data: bytes) -> EncodingGuess | None:
    """UTF-16 without a mark: every other byte of Latin text is zero."""
    sample = data[:SAMPLE_BYTES]
    if len(sample) < 4 or len(data) % 2:
        return None
    for name, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[::2])):
        if zeros.count(0) > 0.7 * len(zeros) and _decodes(data, name):
            return EncodingGuess(name, True, "every other byte is zero")
    return None


def _guess_page(data: bytes) -> EncodingGuess | None:
    """The code page under which the words with letters beyond ASCII make most sense."""
    words = Counter(HIGH_WORD.findall(data)).most_common(MOST_WORDS)
    pages = [name for name in read_data("marks.toml")["encodings"] if _decodes(data, name)]
    if not pages:
        return None
    known = _known_words()
    hits = {page: {word for word, _ in words if plain(word.decode(page)) in known} for page in pages}
    # A long word proves more than a short one, which may come out of any page.
    weights = {page: sum(len(word) - 1 for word in hits[page]) for page in pages}
    best = max(pages, key=weights.__getitem__)
    if hits[best]:
        rivals = [page for page in pages if weights[page] == weights[best] and page != best]
        best, shown = _most_readable(words, [best, *rivals]), [word.decode(best) for word in sorted(hits[best])[:3]]
        differ = [page for page in rivals if page != best and _reads_else(words, best, page) and not _is_odd(words, page)]
        return EncodingGuess(best, not differ, f"gives the words {', '.join(shown)}")
    likely = _ask_library(data, pages) or pages[0]
    best = _most_readable(words, [*pages[:1], likely, *pages[1:]])
    return EncodingGuess(best, False, f"{best} reads {words[0][0].decode(best)!r}; no word of the trade proves it")


def _reads_else(words: list[tuple[bytes, int]], page: str, other: str) -> bool:
    return any(word.decode(page) != word.decode(other) for word, _ in words)


def _is_odd(words: list[tuple[bytes, int]], page: str) -> bool:
    """Whether the page gives letters that no language of the trade writes within these words."""
    return _oddness(words, page) > 0


def _oddness(words: list[tuple[bytes, int]], page: str) -> int:
    return sum(_count_odd(word.decode(page)) for word, _ in words)


def _count_odd(word: str) -> int:
    """Letters that no language of the trade writes within such a word: Greek and Cyrillic stand alone, Latin accents don't."""
    high = {char for char in word if ord(char) > 127}
    foreign = {char for char in high if unicodedata.name(char, "").startswith(("CYRILLIC", "GREEK")) and char.isalpha()}
    is_alien = len(word) > 3 and len(high) > len(foreign) and all(ord(char) > 127 for char in word)
    odd = foreign if any(char.isascii() and char.isalpha() for char in word) else set()
    is_mixed = any(a.islower() and b.isupper() and ord(b) > 127 for a, b in zip(word, word[1:], strict=False))
    return is_mixed + len(odd) + sum(char not in COMMON_LETTERS or is_alien for char in high - foreign)


def _most_readable(words: list[tuple[bytes, int]], pages: list[str]) -> str:
    return min(pages, key=lambda page: _oddness(words, page))


def _ask_library(data: bytes, pages: list[str]) -> str | None:
    """charset-normalizer's choice among the pages that decode everything; it is weak on short texts, so it only proposes."""
    lines = [line for line in data[: 20 * SAMPLE_BYTES].splitlines() if not line.isascii()]
    match = from_bytes(b"\n".join(lines)[:SAMPLE_BYTES], cp_isolation=pages).best()
    return match.encoding if match and match.encoding in pages else None


def _known_words() -> frozenset[str]:
    """Words of the vocabularies of this package, plain: they are written with and without their accents."""
    texts = [phrase for section in read_data("synonyms.toml").values() for phrases in section.values() for phrase in phrases]
    for section in read_data("words.toml").values():
        texts += [word for words in section.values() if isinstance(words, list) for word in words]
    texts += [group for names in read_data("marks.toml")["months"].values() for group in names]
    texts += read_data("marks.toml")["plain_words"]
    return frozenset(word for text in texts for word in plain(text).split() if len(word) > 1)
