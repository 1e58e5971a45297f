"""The pictures of the README: pages of the sample fleet as SVG, which is text, so that a change of them can be read.

`make screenshots` writes them. In: the sample exports. Out: dashboards/screenshots/*.svg, each with a stamp of the page and the style that it
shows; a test compares stamps, not pictures, since fonts and browsers differ from machine to machine.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from hashlib import sha256
from pathlib import Path

from playwright.sync_api import sync_playwright

HOUSE = Path(__file__).parents[2]
FOLDER = HOUSE / "dashboards" / "screenshots"
SHOWN = {"fleet": "index", "overdue": "overdue", "corrosion": "corrosion"}
WIDTH, HEIGHT = 1280, 900  # pixels
PAPER = f"@page {{ size: {WIDTH}px {HEIGHT}px; margin: 0; @bottom-left {{ content: none; }} @bottom-right {{ content: none; }} }}"
DECIMAL = re.compile(rb"(?<![\w.])\d+\.\d+(?![\w.])")
STAMP = re.compile(r"<!-- shows ([0-9a-f]{64}) -->")


def stamp_page(site: Path, page: str) -> str:
    """What a picture shows: the page, the style and our scripts. Of decimals two digits count: those that a fit gives last are another
    processor's own."""
    parts = (site / "assets" / name for name in ("style.css", "site.js", "choose.js"))
    text = DECIMAL.sub(lambda found: f"{float(found[0]):.2g}".encode(), (site / f"{page}.html").read_bytes())
    return sha256(text + b"".join(path.read_bytes() for path in parts)).hexdigest()


def read_stamp(path: Path) -> str | None:
    """The stamp of a picture."""
    found = STAMP.search(path.read_text(encoding="utf-8"))
    return found[1] if found else None


def draw_page(page, site: Path, name: str, folder: Path) -> str:
    """The top of a page as it stands on a screen, as SVG with coordinates to a hundredth."""
    page.goto((site / f"{SHOWN[name]}.html").as_uri())
    page.wait_for_timeout(800)
    page.emulate_media(media="screen")
    pdf, svg = folder / f"{name}.pdf", folder / f"{name}.svg"
    # on paper chromium asks the width of A4: what is for wide screens is said again without asking, and charts keep the screen's size
    style = (site / "assets" / "style.css").read_text(encoding="utf-8").replace("(min-width: 60rem)", "all")
    page.add_style_tag(content=style + PAPER)
    page.pdf(path=str(pdf), prefer_css_page_size=True, page_ranges="1", print_background=True)
    subprocess.run(["pdftocairo", "-svg", str(pdf), str(svg)], check=True)
    text = re.sub(r"(\d\.\d\d)\d+", r"\1", svg.read_text(encoding="utf-8"))
    head, _, rest = text.partition("\n")
    return f"{head}\n<!-- shows {stamp_page(site, SHOWN[name])} -->\n{rest}"


def write_all(site: Path) -> list[Path]:
    """Every picture."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, bypass_csp=True)
        page.add_init_script(
            "['beforeprint', 'afterprint'].forEach(name => addEventListener(name, event => event.stopImmediatePropagation()))"
        )
        for name in SHOWN:
            (FOLDER / f"{name}.svg").write_text(draw_page(page, site, name, Path(folder)), encoding="utf-8", newline="\n")
        browser.close()
    return [FOLDER / f"{name}.svg" for name in SHOWN]


def main() -> None:
    """Run the pipeline on the sample exports and draw its pages."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        places = ("--store", str(place / "store"), "--db", str(place / "sample.duckdb"), "--site", str(place / "site"))
        command = (sys.executable, "-m", "pipeline.cli", "run", "sample_exports", "--as-of", "2026-10-31", *places)
        subprocess.run(command, cwd=HOUSE, check=True, stdout=subprocess.DEVNULL)
        for path in write_all(place / "site"):
            sys.stdout.write(f"{path.relative_to(HOUSE)} {path.stat().st_size} bytes\n")


if __name__ == "__main__":
    main()
