"""What several property tests need."""

from __future__ import annotations

import duckdb
import pytest


@pytest.fixture(scope="module")
def con():
    """A database in memory, for a module's files to be read into."""
    con = duckdb.connect()
    yield con
    con.close()
