"""Which free texts hold a word that a rule looks for: has_word of pipeline/duties/macros.sql.

In: a text, words. Out: whether one begins in it. Ours, no source.
"""

import re
from pathlib import Path

import duckdb
import pytest

from pipeline.duties.rule_book import read_rule_book

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


NO_REASON = [
    ("trade-welded-repair", "Shell must not be repaired by welding"),
    ("trade-welded-repair", "cannot be welded: to be condemned if it leaks"),
    ("trade-welded-repair", "never to be welded"),
    ("trade-burned-shell", "No sign of fire damage, paint chipped"),
    ("trade-burned-shell", "dent without fire damage"),
    ("trade-burned-shell", "free of fire damage"),
    ("trade-shell-thread", "scratched; no damage to threads"),
]
A_REASON = [
    ("trade-welded-repair", "no dent; repaired by welding"),
    ("trade-welded-repair", "must not be repaired by welding, yet was welded"),
    ("trade-burned-shell", "no dent, fire damage at the foot"),
    ("trade-shell-thread", "thread damaged"),
]


@pytest.mark.parametrize(
    ("rule_id", "said", "is_reason"), [(*case, False) for case in NO_REASON] + [(*case, True) for case in A_REASON]
)
def test_the_shipped_words_tell_a_warning_from_what_was_done(says, rule_id: str, said: str, is_reason: bool):
    rule = read_rule_book().find(rule_id)
    assert says(said, rule["words"], rule["without_words"]) is is_reason


@pytest.fixture(scope="module")
def says():
    con = duckdb.connect()
    con.execute(MACROS_FILE.read_text(encoding="utf-8"))
    judged = (MACROS_FILE.parents[1] / "figures" / "judged.sql").read_text(encoding="utf-8")
    con.execute(re.search(r"create or replace temp macro says\(.*?;\n", judged, re.S)[0])
    yield lambda *given: con.execute("select says(?, ?, ?)", given).fetchone()[0]
    con.close()
