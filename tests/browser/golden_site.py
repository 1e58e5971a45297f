"""The bytes of a small site, kept as digests: what a change of code changes on which page shows in the diff.

`python -m tests.browser.golden_site` writes them anew. In: the invented database of two vessels, which rests on no statistics and no clock.
Out: golden_site.txt, a digest and a path a line.
"""

from __future__ import annotations

import sys
import tempfile
from hashlib import sha256
from pathlib import Path

from dashboards.site import build_site
from tests.browser.make_fixture_db import make_fixture_db

GOLDEN = Path(__file__).with_name("golden_site.txt")
OTHERS = "plotly.min.js"  # of the package, held by its version


def digest_site(folder: Path) -> dict[str, str]:
    """Build the site; the digest of every file by its path."""
    build_site(make_fixture_db(folder / "small.duckdb", vessels=2, units=3, months=14), folder / "site")
    files = sorted(path for path in (folder / "site").rglob("*") if path.is_file() and path.name != OTHERS)
    return {path.relative_to(folder / "site").as_posix(): sha256(path.read_bytes()).hexdigest()[:16] for path in files}


def read_golden() -> dict[str, str]:
    """The digests as they are kept."""
    lines = GOLDEN.read_text(encoding="utf-8").splitlines()
    return {path: digest for digest, path in (line.split("  ", 1) for line in lines)}


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        found = digest_site(Path(place))
    GOLDEN.write_text("".join(f"{digest}  {path}\n" for path, digest in found.items()), encoding="utf-8", newline="\n")
    sys.stdout.write(f"{len(found)} files\n")
