"""What a killed run leaves in a store. In: the folder of the store. Out: what is half written, and what was never received.

Half-written files end in `.<process>.part`. Bytes that a run keeps before it has used them are noted in `unreceived`: only
what is noted there is ever taken back, never a file merely because the ledger lacks it.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from pipeline.errors import UserError

PART = re.compile(r".+\.\d+\.part")
DIGEST = re.compile(r"\b[0-9a-f]{64}\b")
UNRECEIVED = "unreceived"


def note_unreceived(root: Path, digest: str) -> None:
    """Write down that these bytes are about to be kept and are not received yet. Raises UserError cannot-write."""
    try:
        root.mkdir(parents=True, exist_ok=True)
        with open(root / UNRECEIVED, "a", encoding="ascii") as stream:
            stream.write(f"{digest}\n")
    except OSError as error:
        raise UserError("cannot-write", path=root / UNRECEIVED, why=error.strerror) from error


def list_unreceived(root: Path) -> set[str]:
    """The checksums of bytes that a killed run has kept and that are not in the ledger. Raises OSError."""
    noted, ledger = root / UNRECEIVED, root / "received.json"
    listed = set(DIGEST.findall(noted.read_text(encoding="ascii", errors="replace"))) if noted.is_file() else set()
    if not listed or not ledger.exists():
        return listed
    return listed - set(DIGEST.findall(ledger.read_text(encoding="utf-8", errors="replace")))


def drop_note(root: Path) -> None:
    """All that was noted is received or taken back. Raises OSError."""
    if (root / UNRECEIVED).is_file():
        (root / UNRECEIVED).unlink()


def sweep_parts(root: Path) -> None:
    """Take away half-written files and folders. Only for the holder of the store's lock. Raises OSError."""
    for folder in (root, root / "files", root / "parsed"):
        for path in list(folder.iterdir()) if folder.is_dir() else []:
            if not PART.fullmatch(path.name):
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()
