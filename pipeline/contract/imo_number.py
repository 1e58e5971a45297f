"""The IMO ship identification number outside SQL; macros.sql says the same of a column."""

from __future__ import annotations

import re


def is_imo_number(text: str) -> bool:
    """Seven digits whose last is the check digit: the first six times 7, 6, 5, 4, 3, 2, the last digit of the sum.

    Source: IMO ship identification number scheme; worked example 9074729: 139 -> 9.
    """
    if not re.fullmatch("[0-9]{7}", text) or text == "0000000":
        return False
    return sum(int(digit) * weight for digit, weight in zip(text, range(7, 1, -1), strict=False)) % 10 == int(text[6])
