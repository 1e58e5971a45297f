"""The company's own prices. In: the bytes of FOLDER/rules/prices.toml. Out: table figure.price. Every key is checked; see price_schema.toml."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import Any

import duckdb

from pipeline.duties.rule_keys import check_keys
from pipeline.errors import UserError
from pipeline.figures.insert import insert_rows

PRICES = "prices.toml"


def part_prices(own: dict[str, bytes]) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """The company's files of rules and of prices apart, by the name of the file."""
    prices = {name: data for name, data in own.items() if name.rsplit("/", 1)[-1] == PRICES}
    return {name: data for name, data in own.items() if name not in prices}, prices


def read_prices(found: dict[str, bytes]) -> dict[str, Any] | None:
    """The prices of the one file given, None without one. Raises UserError bad-rule naming file and key."""
    if not found:
        return None
    file = sorted(found)[-1]

    def refuse(key: str, why: str) -> UserError:
        return UserError("bad-rule", file=file, key=key, why=why)

    if len(found) > 1:
        raise refuse("currency", f"prices stand in {sorted(found)[0]} as well; one file of prices is read")
    try:
        content = tomllib.loads(found[file].decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError, ValueError) as error:
        raise refuse("(whole file)", f"is not valid TOML in UTF-8: {error}") from error
    schema = tomllib.loads(files("pipeline.figures").joinpath("price_schema.toml").read_text(encoding="utf-8"))
    check_keys(content, schema["head"], "", refuse)
    if not content["unit"] or not all(isinstance(entry, dict) for entry in content["unit"]):
        raise refuse("unit", "must hold one [[unit]] or more")
    for number, entry in enumerate(content["unit"], 1):
        check_keys(entry, schema["unit"], f"unit {number}: ", refuse)
    return content


def load_prices(con: duckdb.DuckDBPyConnection, prices: dict[str, Any] | None) -> None:
    """Create figure.price, empty without prices."""
    con.execute("""
        -- figure.price: one row is a kind of unit with its prices, as the company gives them; the first that fits a unit counts
        create table figure.price (price_no integer, currency text, priced_on date, lead_days integer, life_years double,
            failure double, agent text, form text, charge_up_to double, replacement double, pressure_test double)""")
    if prices is None:
        return
    head = [prices[name] for name in ("currency", "of", "lead_days", "life_years", "failure")]
    columns = ("agent", "form", "charge_up_to", "replacement", "pressure_test")
    insert_rows(
        con,
        "figure.price",
        [(number, *head, *(entry.get(name) for name in columns)) for number, entry in enumerate(prices["unit"], 1)],
    )
