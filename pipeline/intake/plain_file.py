"""Files a user gives, read within bounds. In: a path. Out: its bytes.

A pipe or a device under such a name would keep a run waiting for ever, or fill the memory.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import UserError

# Lists that people write by hand: received.csv, corrections.csv.
MOST_LIST_BYTES = 16 << 20


def read_plain_file(path: Path, most_bytes: int) -> bytes:
    """All bytes of a file. Raises UserError unreadable-file, export-too-large."""
    try:
        if not path.is_file():
            raise UserError("unreadable-file", path=path, why="it is no file, or a link that leads nowhere")
        if path.stat().st_size > most_bytes:
            raise UserError("export-too-large", path=path, most=most_bytes >> 20)
        return path.read_bytes()
    except OSError as error:
        raise UserError("unreadable-file", path=path, why=error.strerror) from error
