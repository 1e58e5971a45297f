"""The pictures of the README show the pages as they are: `make screenshots` after a change of page or style."""

from __future__ import annotations

import re

import pytest

from tests.browser.screenshots import FOLDER, HOUSE, SHOWN, read_stamp, stamp_page


@pytest.mark.parametrize("name", SHOWN)
def test_pictures_are_current_small_and_text(site, name):
    path = FOLDER / f"{name}.svg"
    text = path.read_text(encoding="utf-8")
    assert read_stamp(path) == stamp_page(site, SHOWN[name]), "run `make screenshots`"
    assert path.stat().st_size < 250_000 and text.count("<use") > 200 and "<image" not in text and "<script" not in text


def test_the_readme_shows_all_of_them_and_no_other():
    shown = re.findall(r"!\[[^\]]+\]\((dashboards/screenshots/[^)]+)\)", (HOUSE / "README.md").read_text(encoding="utf-8"))
    assert sorted(shown) == sorted(path.relative_to(HOUSE).as_posix() for path in FOLDER.iterdir()) and len(shown) == len(SHOWN)
