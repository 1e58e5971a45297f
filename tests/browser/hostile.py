"""The sample exports with hostile text wherever a file can carry text, and the same in a sheet, a correction and a withdrawal.

In: a folder to work in. Out: database and site of real runs. Each text would set window.hit, ask for a file, open a link or turn
the letters beside it, if it were ever more than text.
"""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

from dashboards.site import build_site
from pipeline.figures import build as build_of_figures
from pipeline.run import RunOptions, run
from pipeline.sheets import export_sheets
from pipeline.withdraw import withdraw_file
from tests.conftest import SUMMED_UP
from tests.golden.conftest import AS_OF, SAMPLES

SCRIPT = "<script>window.hit=1</script>"
CLOSING = "</script></style></title></textarea><script>window.hit=2</script>"
IMAGE = "<img src=nowhere.png onerror=window.hit=3>"
QUOTES = '" onmouseover="window.hit=4" x=\'` onfocus=window.hit=5 autofocus'
LABEL = "<b>bold</b> <a href='javascript:window.hit=6'>link</a> %{x} %{customdata[0]} &lt;i&gt; {{ 7*7 }} $(x)"
TURNED = "\u202eturned\u2066 \u200f\u05d0\u05d1 \u2028next\u2029 \u0007bell \ufeffmark"
FORMULA = '=HYPERLINK("http://nowhere.invalid","x")'
LONG = "<u>" + "W" * 100_000 + "</u>"
TEXTS = (SCRIPT, CLOSING, IMAGE, QUOTES, LABEL, TURNED, FORMULA, LONG)
# A file name can't hold a slash, nor more than 255 bytes.
FILE_NAME = "<img src=x onerror=window.hit=7> \"'`&lt; \u202e {{7}} %{x} $(x) <b>.csv"


def change_cells(path: Path, columns: list[str], every: int, start: int = 0) -> None:
    """Put the texts in turn, from the `start`th on, into each `every`th record's cells of these columns."""
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    for n, row in enumerate(rows[::every]):
        for k, column in enumerate(columns):
            row[column] = TEXTS[(start + n + k) % len(TEXTS)]
    write_rows(path, rows)


def write_rows(path: Path, rows: list[dict[str, str]]) -> None:
    with open(path, "w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


DIALECT_NAME = "checks <img src=nowhere.png onerror=window.hit=8> \"'`&"
HEADER = "Tag <svg onload=window.hit=9>\"'`"
FOLDER = "exports <i onclick=window.hit=10> \"&'"


def write_dialect(folder: Path) -> None:
    """A source whose name and headers are hostile, and two files of it: one in use, one to withdraw."""

    def quote(text: str) -> str:
        return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'

    (folder / "dialects" / "hostile.toml").write_text(
        f"name = {quote(DIALECT_NAME)}\nabout = {quote(CLOSING)}\nfiles = ['hostile/*']\n\n"
        f"[[table]]\nname = 'inspection'\n[table.columns]\nunit_id = {quote(HEADER)}\nimo_number = {{ constant = '0001016' }}\n"
        f"inspected_on = 'Date'\noutcome = 'Outcome'\nremarks = 'Remarks'\n",
        encoding="utf-8",
    )
    (folder / "hostile").mkdir()
    rows = [
        {HEADER: "TMB-100001" if n % 2 else text, "Date": "2026-10-01" if n % 3 else text, "Outcome": text, "Remarks": text}
        for n, text in enumerate(TEXTS)
    ]
    for name in (FILE_NAME, f"withdrawn {FILE_NAME}"):
        write_rows(folder / "hostile" / name, rows)


def write_corrections(folder: Path) -> None:
    """One cell for each text, corrected to another text, for reasons that are texts too."""
    write_rows(
        folder / "corrections.csv",
        [
            {"file": f"hostile/{FILE_NAME}", "record": str(n + 1), "column": "Remarks", "from": text, "to": f"was {text}"}
            | {"why": text, "who": TEXTS[n - 1], "on": "2026-10-20"}
            for n, text in enumerate(TEXTS)
        ],
    )


def make_hostile(workdir: Path) -> SimpleNamespace:
    """Run, withdraw, send back a sheet, run again; gives db and site."""
    folder, db, site, store = workdir / FOLDER, workdir / "hostile.duckdb", workdir / "site", workdir / "store"
    shutil.copytree(SAMPLES, folder)
    canonical = folder / "canonical"
    change_cells(canonical / "vessel.csv", ["vessel_name", "vessel_type"], 1)
    change_cells(canonical / "lay_up" / "vessel.csv", ["vessel_name"], 1, TEXTS.index(TURNED))
    register = ["unit_id", "position_no", "space_name", "agent_detail", "shell_material", "maker", "model"]
    change_cells(canonical / "register_2026-10" / "unit.csv", register, 5)
    change_cells(canonical / "2026" / "finding.csv", ["action"], 1)
    change_cells(canonical / "2025" / "finding.csv", ["component", "defect", "imo_number", "closed_on"], 2)
    change_cells(canonical / "2026" / "inspection.csv", ["unit_id", "outcome", "inspected_on", "remarks"], 40)
    write_dialect(folder)
    write_corrections(folder)
    options = RunOptions((folder,), store, db, AS_OF)
    with pytest.MonkeyPatch.context() as patch:  # no page is made of the first run
        patch.setattr(build_of_figures, "FIGURES", SUMMED_UP)
        run(options)
    withdraw_file(store, f"{FOLDER}/hostile/withdrawn {FILE_NAME}", CLOSING + QUOTES)
    export_sheets(db, folder, DIALECT_NAME)
    run(options)
    build_site(db, site)
    return SimpleNamespace(db=db, site=site)
