"""`firekpi learn`: draft, write, try, tell. In: files and where to write. Out: lines to print."""

from __future__ import annotations

import os
import re
from pathlib import Path

from pipeline.errors import UserError
from pipeline.learn.learn import learn_dialect
from pipeline.learn.report import report_lines
from pipeline.learn.sources import find_home, name_source
from pipeline.learn.trial import try_draft


def learn_command(paths: list[Path], name: str | None, out: Path | None, store: Path) -> list[str]:
    """Draft, write the file (never over another), try it; returns the lines to print. Raises UserError, also dialect-exists."""
    home = find_home(paths[0])
    target = out or home / "dialects" / f"{file_name(name or name_source(paths[0]))}.toml"
    if target.exists():
        raise UserError("dialect-exists", path=target)
    folder = target.resolve().parent.parent if target.resolve().parent.name == "dialects" else None
    draft = learn_dialect(paths, name, folder)
    trial = try_draft(draft, paths, store, folder or home)
    _write_new(target, draft.text)
    return report_lines(draft, trial, target)


def file_name(name: str) -> str:
    """The dialect's name as a file name: nothing in it leads to another folder or hides the file."""
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "source"


def _write_new(target: Path, text: str) -> None:
    """Write a file that does not yet exist, even if another run makes it meanwhile."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with open(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError as error:
        raise UserError("dialect-exists", path=target) from error
    except OSError as error:
        raise UserError("cannot-write", path=target, why=error.strerror) from error
