"""What a rule file may hold. In: its text and schema.toml. Out: a checked `Regime`, or one sentence naming file and key."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import partial

from pipeline.duties.rule_checks import check_rule, refuse_overlaps
from pipeline.duties.rule_keys import Refuse, check_keys, schema, show
from pipeline.errors import UserError

KINDS = ("duty", "limit", "ground", "placement", "number", "drop")


@dataclass(frozen=True)
class Regime:
    """One rule file: its head, and every rule as a dict of its keys, `kind` and file name among them."""

    file: str
    head: dict
    rules: tuple[dict, ...]

    @property
    def slug(self) -> str:
        """Its path without ending: no two regimes share it, though a company may name a file as a shipped one is named."""
        return self.file.removesuffix(".toml")

    @property
    def stem(self) -> str:
        """The name of its file, by which a layer adopts a standard."""
        return self.slug.rsplit("/", 1)[-1]

    @property
    def layer(self) -> str:
        return self.head["layer"]


def read_regime(file: str, data: bytes) -> Regime:
    """Parse and check one file. Raises UserError bad-rule naming file and key."""
    refuse = partial(_refuse, file)
    try:
        content = tomllib.loads(data.decode("utf-8"))
    except RecursionError as error:
        raise refuse("(whole file)", "is nested too deep") from error
    except ValueError as error:
        raise refuse("(whole file)", f"is not TOML: {error}") from error
    head = {key: value for key, value in content.items() if key not in KINDS}
    check_keys(head, schema()["head"], "", refuse)
    _check_head(head, refuse)
    rules = []
    for kind in KINDS:
        entries = content.get(kind, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            raise refuse(kind, f"must be a list of tables, each headed [[{kind}]]")
        for number, entry in enumerate(entries, 1):
            rules.append(check_rule(kind, entry, f"{kind}[{number}]", refuse))
    refuse_overlaps(rules, refuse)
    return Regime(file, head, tuple(rules))


def _refuse(file: str, key: str, why: str) -> UserError:
    return UserError("bad-rule", file=file, key=key, why=why)


def _check_head(head: dict, refuse: Refuse) -> None:
    if (head["layer"] == "flag") != ("flag" in head):
        raise refuse("flag", "must stand in a flag layer, and in no other")
    if "flag" in head and not re.fullmatch("[A-Z]{2}", head["flag"]):
        raise refuse("flag", f"{show(head['flag'])} is not an ISO 3166-1 alpha-2 code")
    if "vessels" in head and head["layer"] != "company":
        raise refuse("vessels", "may stand in a company layer only")
