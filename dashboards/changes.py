"""Writes a folder with the page of what changed, its CSV and its style sheet, which needs nothing else.

In: the database of what changed, that of the later moment, the CSV as text. Out: FOLDER/changes.html, changes.csv, assets.
Errors: `folder-not-empty`, `cannot-write`.
"""

from __future__ import annotations

import os
import shutil
from importlib.resources import files
from pathlib import Path

from dashboards import database, render
from dashboards.keep_same import Folder
from dashboards.pages import changes
from pipeline.errors import UserError

ASSETS = ("style.css", "site.js")


def refuse_full(folder: Path) -> None:
    """Stop before anything is written into a folder that holds something, or over a file."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UserError("folder-not-empty", folder=folder)


def write_changes(differing: Path, newer: Path, text: str, folder: Path) -> str:
    """Write the folder whole, beside its place, then put it there; returns the page's sentence."""
    folder = folder.absolute()
    part = folder.with_name(f"{folder.name}.{os.getpid()}.part")
    try:
        pages = Folder(str(part))
        for name in ASSETS:
            pages.write(f"assets/{name}", files("dashboards").joinpath("assets", name).read_bytes())
        with database.open_database(newer) as con:
            context = database.read_context(con, newer)
        with database.open_database(differing) as con:
            page = changes.make_page(con, context)
        render.write_page(render.make_environment(), context, page, pages)
        (part / "changes.csv").write_text(text, encoding="utf-8-sig", newline="")
        refuse_full(folder)
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    except OSError as error:
        raise UserError("cannot-write", path=error.filename or folder, why=error.strerror or error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return changes.say_plainly(page)
