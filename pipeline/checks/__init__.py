"""Checks: contract and checks.toml -> great-expectations suites inside DuckDB; failing rows -> quarantine."""
