"""Golden bytes: every file of a small site is as it was, or its change is seen and kept on purpose."""

from __future__ import annotations

from tests.browser.golden_site import digest_site, read_golden


def test_every_file_of_the_small_site_is_as_it_was(tmp_path):
    found, kept = digest_site(tmp_path), read_golden()
    differ = sorted(path for path in found.keys() | kept.keys() if found.get(path) != kept.get(path))
    assert not differ, "look at these, then run python -m tests.browser.golden_site"
    assert {"index.html", "register.html", "overdue.html", "method.html", "assets/style.css"} <= kept.keys() and len(kept) > 80
