"""Exports that come packed: .gz and .zip, unpacked in memory and within bounds.

In: the bytes of a packed file. Out: its members as (name, bytes). Names are never used as places on the disk, and those
that would lead out of the archive are refused all the same: they would deceive whoever reads them.
"""

from __future__ import annotations

import gzip
import io
import lzma
import re
import unicodedata
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import PurePosixPath

from pipeline.errors import UserError

EXPORT_ENDINGS = (".csv", ".tsv", ".txt")
PACKED_ENDINGS = (".gz", ".zip")
# One export: ten years of a hundred vessels in one file are some 60 MB.
MOST_BYTES = 256 << 20
MOST_MEMBERS = 10_000
# All of an archive: a bomb of many members would else fill the disk.
MOST_UNPACKED = 4 * MOST_BYTES
PIECE = 1 << 20
CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")
# What the two libraries raise on damage; the last three on a method, a password or a header that they do not know.
BROKEN = (OSError, EOFError, zlib.error, lzma.LZMAError, zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError)


def is_export(name: str) -> bool:
    """Whether a file of this name is read: an export as it is, or packed."""
    name = name.lower()
    return (
        name.endswith(EXPORT_ENDINGS)
        or name.endswith(tuple(f"{ending}.gz" for ending in EXPORT_ENDINGS))
        or name.endswith(".zip")
    )


def is_packed(name: str) -> bool:
    return name.lower().endswith(PACKED_ENDINGS)


def unpack(data: bytes, path: str) -> Iterator[tuple[str, bytes | None]]:
    """Yield each member: name within the archive ("" for a .gz) and bytes, None for one that is no plain export.

    Raises UserError bad-archive, export-too-large.
    """
    if path.lower().endswith(".gz"):
        try:
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
                yield "", _read_bounded(stream, path)
        except BROKEN as error:
            raise UserError("bad-archive", path=path, why=str(error) or type(error).__name__) from error
        return
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            yield from _unpack_zip(archive, path)
    except BROKEN as error:
        raise UserError("bad-archive", path=path, why=str(error) or type(error).__name__) from error


def _unpack_zip(archive: zipfile.ZipFile, path: str) -> Iterator[tuple[str, bytes | None]]:
    members = [member for member in archive.infolist() if not member.is_dir()]
    if len(members) > MOST_MEMBERS:
        raise UserError("bad-archive", path=path, why=f"it holds {len(members):,} files")
    seen: set[str] = set()
    for member in members:
        _check_member_name(member.filename, path)
        name = unicodedata.normalize("NFC", member.filename)
        if name in seen:
            raise UserError("bad-archive", path=path, why=f"it holds {name!r} twice")
        seen.add(name)
    total = 0
    for member in members:
        if any(part.startswith(".") for part in PurePosixPath(member.filename).parts):
            continue
        if not member.filename.lower().endswith(EXPORT_ENDINGS):
            yield member.filename, None
            continue
        if member.flag_bits & 1:
            raise UserError("bad-archive", path=path, why=f"{member.filename} is locked with a password")
        with archive.open(member) as stream:
            content = _read_bounded(stream, f"{path}/{member.filename}")
        total += len(content)
        if total > MOST_UNPACKED:
            raise UserError("export-too-large", path=path, most=MOST_UNPACKED >> 20)
        yield member.filename, content


def _check_member_name(name: str, path: str) -> None:
    """Refuse a name that leads out of the archive or can't be shown as it is."""
    parts = name.split("/")
    leads_out = ".." in parts or "" in parts or "." in parts or "\\" in name or re.match(r"[A-Za-z]:", name)
    if leads_out or CONTROL.search(name) or not name.isprintable():
        raise UserError("bad-archive", path=path, why=f"the name {name!r} in it is no plain path")


def _read_bounded(stream, path: str) -> bytes:
    """All bytes, or UserError export-too-large as soon as there are more than an export may have: a bomb is never unpacked."""
    pieces, size = [], 0
    while piece := stream.read(PIECE):
        size += len(piece)
        if size > MOST_BYTES:
            raise UserError("export-too-large", path=path, most=MOST_BYTES >> 20)
        pieces.append(piece)
    return b"".join(pieces)
