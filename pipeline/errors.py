"""Errors that a user can cause and mend: one sentence each, with a permanent slug and an exit code.

In: a slug of errors.toml and the values of its sentence. Out: a `UserError`, the only kind of exception
that the command line shows without a traceback.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

LONGEST = 1_000
# Control characters and what turns the reading direction: in a terminal they could hide or forge text.
UNSEEN = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


@cache
def error_kinds() -> dict[str, dict]:
    """Read errors.toml: slug -> {exit_code, sentence, remedy}."""
    return tomllib.loads(files("pipeline").joinpath("errors.toml").read_text(encoding="utf-8"))


class UserError(Exception):
    """One sentence for the user: what, where, what to do. `slug` names it in errors.toml."""

    def __init__(self, slug: str, **values: object) -> None:
        kind = error_kinds()[slug]
        self.slug = slug
        self.exit_code = int(kind["exit_code"])
        self.lines: list[str] = []  # findings to be printed above the sentence
        super().__init__(kind["sentence"].format(**{name: _show(value) for name, value in values.items()}))


def show_text(text: str, longest: int = LONGEST) -> str:
    """Text of a file as one short line that a terminal shows as it is."""
    text = text if len(text) <= longest else f"{text[:longest]}…"
    return UNSEEN.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def _show(value: object) -> object:
    """Numbers keep their type for the sentence's format; all else becomes a short line."""
    return value if isinstance(value, int | float) else show_text(str(value))
