"""The rule book as a whole. In: the rule files of firekpi and of the company. Out: `RuleBook`, layers put in order.

The layers, weakest first: baseline, flag, company. A standard binds where a layer adopts it, with that layer's rank.
A rule may take another's place (`replaces`) or take it away ([[drop]]); where that asks for less, `loosens` says so.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files

from pipeline.duties.loosening import say_less
from pipeline.duties.rule_links import check_links
from pipeline.duties.rule_schema import Regime, read_regime

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

    @cached_property
    def _by_name(self) -> dict[str, dict]:
        return {rule["rule_id"]: rule for _, rule in self.rules}

    def find(self, rule_id: str) -> dict:
        return self._by_name[rule_id]


def read_rule_book(own: dict[str, bytes] | None = None) -> RuleBook:
    """The shipped rules and the company's own files (name -> bytes).

    Raises UserError bad-rule naming file and key: a fault in a file, or files that do not fit together.
    """
    shipped = tuple(regime for regime, _ in _read_shipped())
    added = tuple(read_regime(file, data) for file, data in (own or {}).items())
    check_links(shipped, added)
    regimes = shipped + added
    texts = {regime.file: data for regime, data in _read_shipped()} | (own or {})
    digest = hashlib.sha256(b"\0".join(file.encode() + b"\0" + data for file, data in sorted(texts.items()))).hexdigest()[:16]
    return RuleBook(regimes, tuple(_bind(regimes)), digest)


def say_loosening(rule: dict, book: RuleBook) -> str | None:
    """What a rule asks less than the rules whose place it takes, and those whose place these took; None where it asks nothing less."""
    if rule["kind"] == "drop":
        return f"takes away {', '.join(rule['drops'])}"
    said = [f"{name}: {less}" for name in _list_replaced(rule, book) if (less := say_less(rule, book.find(name)))]
    return "; ".join(said) or None


def _list_replaced(rule: dict, book: RuleBook) -> list[str]:
    """The rules that it replaces, then those that they replace, and so on: each once. There are no circles."""
    names: list[str] = list(dict.fromkeys(rule.get("replaces", ())))
    for name in names:
        names += [further for further in book.find(name).get("replaces", ()) if further not in names]
    return names


@cache
def _read_shipped() -> tuple[tuple[Regime, bytes], ...]:
    """The shipped regimes and their files' bytes; they are as installed, and read once."""
    return tuple((read_regime(file, data), data) for file, data in _shipped())


def _shipped() -> Iterator[tuple[str, bytes]]:
    for folder in SHIPPED:
        for entry in sorted(files("pipeline.duties").joinpath(folder).iterdir(), key=lambda entry: entry.name):
            if entry.name.endswith(".toml"):
                yield f"{folder}/{entry.name}", entry.read_bytes()


def _bind(regimes: tuple[Regime, ...]) -> Iterator[Binding]:
    standards = {regime.stem: regime for regime in regimes if regime.layer == "standard"}
    for regime in (regime for regime in regimes if regime.layer != "standard"):
        vessels = tuple(regime.head["vessels"]) if "vessels" in regime.head else None
        for bound in _with_adopted(regime, standards):
            yield Binding(bound, RANKS[regime.layer], regime.head.get("flag"), vessels)


def _with_adopted(regime: Regime, standards: dict[str, Regime]) -> Iterator[Regime]:
    yield regime
    for name in regime.head.get("adopts", []):
        yield from _with_adopted(standards[name], standards)
