"""Errors that a user can cause and mend: one sentence each, with a permanent slug and an exit code.

In: a slug of errors.toml and the values of its sentence. Out: a `UserError`, the only kind of exception
that the command line shows without a traceback.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files


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
        super().__init__(kind["sentence"].format(**values))
