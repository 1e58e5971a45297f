"""One run on the sample exports, shared by the tests of this folder and of the pages."""

from __future__ import annotations

import os
import pickle
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest
from filelock import FileLock

from dashboards.site import build_site
from pipeline.run import RunOptions, run
from tests.conftest import as_users_do

SAMPLES = Path(__file__).parents[2] / "sample_exports"
AS_OF = date(2026, 10, 31)


def run_samples(workdir: Path, *folders: Path) -> SimpleNamespace:
    """Run on the folders with a site; gives db, site and summary."""
    db, site = workdir / "firekpi.duckdb", workdir / "site"
    summary = run(RunOptions(folders or (SAMPLES,), workdir / "store", db, AS_OF))
    build_site(db, site)
    return SimpleNamespace(db=db, site=site, summary=summary, workdir=workdir)


def share_samples(tmp_path_factory) -> SimpleNamespace:
    """What run_samples gives, made by the first worker that asks and read by all; who wants to change it copies `workdir`."""
    place = tmp_path_factory.getbasetemp()
    place = (place.parent if "PYTEST_XDIST_WORKER" in os.environ else place) / "sample_run"
    place.mkdir(exist_ok=True)
    told = place / "told.pickle"
    with FileLock(place / "lock"):
        if not told.exists():
            with as_users_do():
                told.write_bytes(pickle.dumps(run_samples(place / "work")))
    return pickle.loads(told.read_bytes())


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> SimpleNamespace:
    return share_samples(tmp_path_factory)


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
