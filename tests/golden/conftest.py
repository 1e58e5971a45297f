"""One run on the sample exports, shared by the tests of this folder."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest

from dashboards.site import build_site
from pipeline.run import RunOptions, run

SAMPLES = Path(__file__).parents[2] / "sample_exports"
AS_OF = date(2026, 10, 31)


def run_samples(workdir: Path, *folders: Path) -> SimpleNamespace:
    """Run on the folders with a site; gives db, site and summary."""
    db, site = workdir / "firekpi.duckdb", workdir / "site"
    summary = run(RunOptions(folders or (SAMPLES,), workdir / "store", db, AS_OF))
    build_site(db, site)
    return SimpleNamespace(db=db, site=site, summary=summary, workdir=workdir)


@pytest.fixture(scope="package")
def demo(tmp_path_factory) -> SimpleNamespace:
    return run_samples(tmp_path_factory.mktemp("demo"))


@pytest.fixture
def con(demo):
    with duckdb.connect(str(demo.db), read_only=True) as con:
        yield con


def site_bytes(site: Path) -> dict[str, bytes]:
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in sorted(site.rglob("*")) if path.is_file()}


def figure_rows(db: Path) -> dict[str, list[tuple]]:
    """Every table of figures and of records, and what became of the files, in a stable order."""
    with duckdb.connect(str(db), read_only=True) as con:
        names = con.execute(
            "select schema_name || '.' || table_name from duckdb_tables() where schema_name in ('figure', 'record', 'history', 'duty') "
            "or (schema_name = 'intake' and table_name <> 'run') order by all"
        ).fetchall()
        return {name: con.execute(f"select * from {name} order by all").fetchall() for (name,) in names}
