"""The site of the sample exports, sites of invented fleets of any size, and one browser for all tests of this folder."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest
from playwright.sync_api import Browser, sync_playwright

from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db
from tests.golden.conftest import share_samples

BROWSER_FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> SimpleNamespace:
    """The real pipeline on the sample exports: .db and .site."""
    return share_samples(tmp_path_factory)


@pytest.fixture(scope="session")
def site(demo) -> Path:
    return demo.site


@pytest.fixture
def con(demo) -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect(str(demo.db), read_only=True) as con:
        yield con


@pytest.fixture(scope="session")
def build_invented(tmp_path_factory) -> Callable[..., Path]:
    """Call with the arguments of make_fixture_db to get the site of such a fleet."""

    def build(**size) -> Path:
        folder = tmp_path_factory.mktemp("invented")
        make_fixture_db(folder / "invented.duckdb", **size)
        build_site(folder / "invented.duckdb", folder / "site")
        return folder / "site"

    return build


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's chromium. Without it these tests fail: a page that no browser has drawn is not tested."""
    path = shutil.which("chromium")
    assert path, "no `chromium` on this machine: install the Debian package chromium to run the page tests"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, headless=True, args=BROWSER_FLAGS)
        yield browser
        browser.close()
