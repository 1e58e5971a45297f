"""Which free texts hold a word that a rule looks for: has_word of pipeline/duties/macros.sql.

In: a text, words. Out: whether one begins in it. Ours, no source.
"""

from pathlib import Path

import duckdb
import pytest

MACROS_FILE = Path(__file__).parents[2] / "pipeline" / "duties" / "macros.sql"
HELD = [
    ("deep PITS at the foot", "pit"),
    ("Pitted", "pit"),
    ("(pitted)", "pit"),
    ("rust/pitting", "pit"),
    ("Fire-damage to the paint", "fire damage"),  # a hyphen, a dash and blanks are the same
    ("fire  damage", "fire-damage"),
    ("silver-soldered", "soldered"),
    ("Ölraum", "öl"),  # letters with marks are letters, in small and in capitals
    ("ÖLRAUM", "Öl"),
    ("O\u0308lraum", "o\u0308l"),
    ("à l'ÉLECTRICITÉ", "électr"),
    ("щит, ржавчина", "РЖАВ"),
    ("Hilfsmaschinenraum", "*raum"),  # a star: anywhere in a word
    ("monopropyleneglycol", "*glycol"),
    ("Raum 3", "*raum"),
    ("wall 1.4 mm", "1.4"),
    ("C++ (spare)", "c++ (spare)"),  # signs are no pattern
    ("[a-z]* left", "[a-z]*"),
]
NOT_HELD = [
    ("sent to hospital", "pit"),
    ("life preserver locker", "server"),
    ("unwelded", "welded"),
    ("Hilfsmaschinenraum", "raum"),
    ("Höl", "öl"),  # ö is a letter, no end of a word
    ("axc", "a.c"),
    ("anything", ".*"),
    ("anything", "*"),
    ("a % b", "%"),
    ("rust: no. Pitting: yes", "no pitting"),  # not across the end of a clause
    ("burned, in the galley", "burned in"),
    ("", "pit"),
    (None, "pit"),
    ("  ;  ", "pit"),
]


@pytest.fixture(scope="module")
def has_word():
    con = duckdb.connect()
    con.execute(MACROS_FILE.read_text(encoding="utf-8"))
    yield lambda said, words: con.execute("select has_word(?, ?)", [said, words]).fetchone()[0]
    con.close()


@pytest.mark.parametrize(("said", "word"), HELD)
def test_a_word_is_found_at_its_beginning_whatever_its_case(has_word, said: str, word: str):
    assert has_word(said, [word]) is True
    assert has_word(said, ["not there", word]) is True


@pytest.mark.parametrize(("said", "word"), NOT_HELD)
def test_a_word_within_another_is_none(has_word, said: str | None, word: str):
    assert has_word(said, [word]) is False


def test_without_words_nothing_is_found(has_word):
    assert has_word("pitted", []) is False
