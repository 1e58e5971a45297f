"""Names of files for texts of any letters: units, and the words that lists are split by.

In: a text as it came. Out: a name of small letters, digits and hyphens that no other text has and that never changes.
"""

from __future__ import annotations

import re
from functools import lru_cache
from hashlib import sha256

PLAIN = re.compile(r"[A-Z0-9][A-Z0-9-]{0,47}")
# Names that Windows keeps for devices, whatever ending follows.
DEVICES = frozenset({"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10))})
MOST_LETTERS, MOST_DIGITS = 40, 12


@lru_cache(maxsize=4096)
def name_safely(text: str) -> str:
    """'ASQ-100007' is asq-100007; anything else keeps what it can and ends in _ and the start of its SHA-256.

    Only capitals, digits and hyphens stay plain, and a plain name holds no _: so two texts that differ in case only differ here too.
    """
    if PLAIN.fullmatch(text) and text not in DEVICES:
        return text.lower()
    kept = re.sub(r"[^a-z0-9]+", "-", text[:MOST_LETTERS].lower()).strip("-")
    return f"{kept}_{sha256(text.encode()).hexdigest()[:MOST_DIGITS]}"


def name_page(unit_id: str) -> str:
    """Path of a unit's page, relative to the site's root."""
    return f"unit/{name_safely(unit_id)}.html"
