"""Two folders change places in one step, where the operating system can do that. In: two paths. Out: whether they did.

Linux has renameat2(2) with RENAME_EXCHANGE since 3.15 and glibc its wrapper since 2.28; Python offers neither.
"""

from __future__ import annotations

import ctypes
import os
import sys
from functools import cache
from pathlib import Path

# linux/fcntl.h and linux/fs.h: from the current folder; exchange the two names.
AT_FDCWD, RENAME_EXCHANGE = -100, 2


def exchange_folders(one: Path, other: Path) -> bool:
    """True if the two changed places; False where that can't be done, and then nothing has changed."""
    rename = _find_rename()
    if rename is None:
        return False
    return rename(AT_FDCWD, os.fsencode(one), AT_FDCWD, os.fsencode(other), RENAME_EXCHANGE) == 0


@cache
def _find_rename():
    """The C library's renameat2, or None where there is none."""
    if sys.platform != "linux":
        return None
    rename = getattr(ctypes.CDLL(None), "renameat2", None)
    if rename is not None:
        rename.argtypes = [ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint]
    return rename
