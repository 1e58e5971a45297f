"""The check digit of IMO ship numbers, against published worked examples and against its known blind spots.

In: the macro is_imo_number(text) of pipeline/contract/macros.sql. Out: weights 7, 6, 5, 4, 3, 2 on the first six
digits, the last digit of the sum is the seventh. Swapped neighbours are always seen; a single wrong digit is not where
weight times difference is a multiple of ten: a valid check digit is no proof of a right number.
"""

from pathlib import Path

import duckdb
import pytest

from tests.property.canonical import complete_imo_number

MACROS_FILE = Path(__file__).parents[2] / "pipeline" / "contract" / "macros.sql"

VALID = [
    # 63+0+35+16+21+4 = 139 -> 9. Source: tickerdossier.com/wiki/imo-ship-identification-number (read)
    "9074729",
    # 49+36+25+16+9+4 = 139 -> 9. Source: liquisearch.com/imo_ship_identification_number/definition (read)
    "7654329",
    # 49+36+10+20+24+2 = 141 -> 1. Source: tarkistusmerkit.teppovuori.fi/coden.htm (read)
    "7625811",
    # valid though one digit differs from the one above (weight 5, difference 2). Source: the same page (read)
    "7605811",
    # 63+36+5+36+27+0 = 167 -> 7. Computed from the rule above
    "9619907",
]
INVALID = [
    "9074728",  # wrong check digit: the sum above is 139. Computed from the rule above
    "9074792",  # last two digits swapped. Computed: 63+0+35+16+21+18 = 153 -> 3
    "2041999",  # a company number, of another rule (weights 8,6,4,2,9,7). Source: tickerdossier.com, same page (read)
]
# No seven digits 0-9, so no ship number; ours, no source needed.
MALFORMED = [
    "",
    " ",
    "907472",
    "90747290",
    "09074729",
    "IMO9074729",
    "907472x",
    "9O74729",
    "9074729.0",
    "-074729",
]

# weight -> differences of one digit that the check digit can't see. Derived: weight x difference divisible by 10.
UNSEEN = {7: set(), 6: {5}, 5: {2, 4, 6, 8}, 4: {5}, 3: set(), 2: {5}}
WEIGHTS = (7, 6, 5, 4, 3, 2)
SAMPLE = [complete_imo_number(six_digits) for six_digits in range(100000, 1000000, 331)]


def judge(numbers: list[str]) -> list[bool]:
    with duckdb.connect() as connection:
        connection.execute(MACROS_FILE.read_text(encoding="utf-8"))
        rows = connection.execute(
            "SELECT coalesce(is_imo_number(n), false) FROM (SELECT unnest(?::varchar[]) AS n, unnest(range(?)) AS i) ORDER BY i",
            [numbers, len(numbers)],
        ).fetchall()
    assert len(rows) == len(numbers)
    return [row[0] for row in rows]


def test_published_examples():
    assert judge(VALID) == [True] * len(VALID)
    assert judge(INVALID) == [False] * len(INVALID)


def test_malformed_text_is_no_number():
    found = dict(zip(MALFORMED, judge(MALFORMED), strict=True))
    assert not any(found.values()), found


def test_the_tests_own_check_digit():
    """The generator of random fleets completes its numbers with this: the published examples hold for it too."""
    assert [complete_imo_number(int(number[:6])) for number in VALID] == VALID
    assert all(complete_imo_number(int(number[:6])) != number for number in INVALID)


def test_swapped_neighbours_are_always_seen():
    """Weights of neighbours differ by one, so a swap of digits a and b moves the sum by a - b, never by ten."""
    swapped = [
        number[:i] + number[i + 1] + number[i] + number[i + 2 :]
        for number in SAMPLE
        for i in range(6)
        if number[i] != number[i + 1]
    ]
    assert len(swapped) > 10_000 and judge(SAMPLE) == [True] * len(SAMPLE)
    unseen = [number for number, is_valid in zip(swapped, judge(swapped), strict=True) if is_valid]
    assert not unseen, f"{len(unseen)} swaps pass, the first {unseen[0]}"


@pytest.mark.parametrize("place", range(7))
def test_single_wrong_digits_seen_but_for_those_listed(place):
    changed = [
        (number[:place] + digit + number[place + 1 :], abs(int(digit) - int(number[place])))
        for number in SAMPLE[::7]
        for digit in "0123456789"
        if digit != number[place]
    ]
    unseen = UNSEEN[WEIGHTS[place]] if place < 6 else set()
    found = judge([number for number, _ in changed])
    assert found == [difference in unseen for _, difference in changed]


def test_drafting_a_dialect_judges_alike():
    """`learn` looks for numbers before there is a database; it takes the word IMO before one, the contract doesn't."""
    from pipeline.learn.profile import is_imo_number

    changed = [number[:6] + str((int(number[6]) + step) % 10) for number in SAMPLE[::11] for step in range(10)]
    texts = [*VALID, *INVALID, *changed, *(text for text in MALFORMED if "IMO" not in text and text == text.strip())]
    assert [is_imo_number(text) for text in texts] == judge(texts) and 0 < sum(judge(texts)) < len(texts)
