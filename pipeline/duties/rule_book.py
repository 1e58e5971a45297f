"""The rule book as a whole. In: the rule files of firekpi and of the company. Out: `RuleBook`, layers put in order.

The layers, weakest first: baseline, flag, company. A standard binds where a layer adopts it, with that layer's rank.
A rule may take another's place (`replaces`) or take it away ([[drop]]); where that asks for less, `loosens` says so.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files

from pipeline.duties.loosening import say_less
from pipeline.duties.rule_schema import Regime, read_regime
from pipeline.errors import UserError

SHIPPED = ("baseline", "flags", "standards")
RANKS = {"baseline": 0, "standard": 1, "flag": 2, "company": 3}


@dataclass(frozen=True)
class Binding:
    """Whom a regime binds: vessels under `flag` (None: any), of those listed (None: all); the layer that puts it in force."""

    regime: Regime
    rank: int
    flag: str | None
    vessels: tuple[str, ...] | None


@dataclass(frozen=True)
class RuleBook:
    """Every regime, whom each binds, and where a rule asks for less than the one it replaces."""

    regimes: tuple[Regime, ...]
    bindings: tuple[Binding, ...]
    fingerprint: str

    @property
    def rules(self) -> Iterator[tuple[Regime, dict]]:
        for regime in self.regimes:
            for rule in regime.rules:
                yield regime, rule

    def find(self, rule_id: str) -> dict:
        return next(rule for _, rule in self.rules if rule["rule_id"] == rule_id)


def read_rule_book(own: dict[str, bytes] | None = None) -> RuleBook:
    """The shipped rules and the company's own files (name -> bytes).

    Raises UserError bad-rule naming file and key: a fault in a file, a rule named twice, one that nobody knows, a loop.
    """
    texts = dict(_shipped()) | (own or {})
    regimes = tuple(read_regime(file, data) for file, data in texts.items())
    _check_names(regimes)
    _check_loops(regimes)
    digest = hashlib.sha256(b"\0".join(file.encode() + b"\0" + data for file, data in sorted(texts.items()))).hexdigest()[:16]
    return RuleBook(regimes, tuple(_bind(regimes)), digest)


def say_loosening(rule: dict, book: RuleBook) -> str | None:
    """What a rule asks less than the rules whose place it takes; None where it asks for as much or more."""
    if rule["kind"] == "drop":
        return f"takes away {', '.join(rule['drops'])}"
    said = [f"{name}: {less}" for name in rule.get("replaces", ()) if (less := say_less(rule, book.find(name)))]
    return "; ".join(said) or None


def _shipped() -> Iterator[tuple[str, bytes]]:
    for folder in SHIPPED:
        for entry in sorted(files("pipeline.duties").joinpath(folder).iterdir(), key=lambda entry: entry.name):
            if entry.name.endswith(".toml"):
                yield f"{folder}/{entry.name}", entry.read_bytes()


def _check_names(regimes: tuple[Regime, ...]) -> None:
    where: dict[str, str] = {}
    slugs: dict[str, str] = {}
    for regime in regimes:
        if regime.slug in slugs and regime.layer == "standard":
            raise UserError("bad-rule", file=regime.file, key="(file name)", why=f"is that of {slugs[regime.slug]}")
        slugs[regime.slug] = regime.file
        for rule in regime.rules:
            if rule["rule_id"] in where:
                why = f"stands in {where[rule['rule_id']]} already"
                raise UserError("bad-rule", file=regime.file, key=f"{rule['rule_id']}.rule_id", why=why)
            where[rule["rule_id"]] = regime.file
    standards = {regime.slug for regime in regimes if regime.layer == "standard"}
    for regime in regimes:
        for name in regime.head.get("adopts", []):
            if name not in standards:
                raise UserError(
                    "bad-rule",
                    file=regime.file,
                    key="adopts",
                    why=f"{name!r} is no standard; known are {', '.join(sorted(standards))}",
                )
        for rule in regime.rules:
            for key in ("replaces", "drops"):
                for name in rule.get(key, []):
                    if name not in where:
                        raise UserError(
                            "bad-rule",
                            file=regime.file,
                            key=f"{rule['rule_id']}.{key}",
                            why=f"{name!r} is no rule of the rule book",
                        )


def _check_loops(regimes: tuple[Regime, ...]) -> None:
    """Rules that replace each other in a circle, or standards that adopt each other, leave nothing in force."""
    replaces = {
        rule["rule_id"]: (regime.file, f"{rule['rule_id']}.{key}", rule[key])
        for regime in regimes
        for rule in regime.rules
        for key in ("replaces", "drops")
        if key in rule
    }
    adopts = {regime.slug: (regime.file, "adopts", regime.head["adopts"]) for regime in regimes if "adopts" in regime.head}
    for links in (replaces, adopts):
        for start in links:
            _follow(start, links, ())


def _follow(name: str, links: dict, path: tuple[str, ...]) -> None:
    if name in path:
        file, key, _ = links[path[-1]]
        raise UserError("bad-rule", file=file, key=key, why=f"leads in a loop: {' -> '.join([*path[path.index(name) :], name])}")
    for other in links.get(name, (None, None, ()))[2]:
        _follow(other, links, (*path, name))


def _bind(regimes: tuple[Regime, ...]) -> Iterator[Binding]:
    standards = {regime.slug: regime for regime in regimes if regime.layer == "standard"}
    for regime in (regime for regime in regimes if regime.layer != "standard"):
        vessels = tuple(regime.head["vessels"]) if "vessels" in regime.head else None
        for bound in _with_adopted(regime, standards):
            yield Binding(bound, RANKS[regime.layer], regime.head.get("flag"), vessels)


def _with_adopted(regime: Regime, standards: dict[str, Regime]) -> Iterator[Regime]:
    yield regime
    for name in regime.head.get("adopts", []):
        yield from _with_adopted(standards[name], standards)
