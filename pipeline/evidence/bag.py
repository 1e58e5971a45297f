"""A folder made into a bag (RFC 8493, SHA-256), the zip of it, and whether a bag is whole. In: a folder. Out: bag, zip, findings."""

from __future__ import annotations

import hashlib
import logging
import os
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import bagit

from pipeline.errors import UserError

MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"
SIGNATURE = f"{TAG_MANIFEST}.sig"
MOST_ZIPPED = 1 << 36  # bytes, unpacked
logging.getLogger("bagit").setLevel(logging.CRITICAL)  # what it finds is told by us, once


def make_bag(folder: Path, info: dict[str, str]) -> None:
    """The folder's content becomes the payload. `info` is what bag-info.txt says; the same content and info give the same bytes."""
    bag = bagit.make_bag(str(folder), info, checksums=["sha256"], encoding="utf-8")
    # the library still writes the version before RFC 8493; what it writes is as the RFC asks for all names without a percent sign
    (folder / "bagit.txt").write_text("BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", encoding="utf-8", newline="\n")
    bag.save()
    listed = read_manifest((folder / TAG_MANIFEST).read_bytes())
    (folder / TAG_MANIFEST).write_bytes(write_manifest(listed))


def read_manifest(data: bytes) -> dict[str, str]:
    """name -> checksum. Raises ValueError."""
    return {name: digest for digest, name in (line.split(None, 1) for line in data.decode("utf-8").splitlines())}


def write_manifest(listed: dict[str, str]) -> bytes:
    """A manifest as packs write it: in order of names, two spaces, each line ended."""
    return "".join(f"{listed[name]}  {name}\n" for name in sorted(listed)).encode()


def write_zip(bag: Path, path: Path, moment: datetime) -> None:
    """The bag as one file, members in order and dated `moment`."""
    stamp = max(moment.timetuple()[:6], (1980, 1, 1, 0, 0, 0))
    with zipfile.ZipFile(path, "x", zipfile.ZIP_DEFLATED) as packed:
        for file in list_files(bag):
            member = zipfile.ZipInfo(f"{bag.name}/{file.relative_to(bag).as_posix()}", stamp)
            member.external_attr = 0o644 << 16
            member.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(member, file.read_bytes())


def list_files(folder: Path) -> list[Path]:
    """Every file below, in order of its path."""
    return sorted((path for path in folder.rglob("*") if not path.is_dir()), key=lambda path: path.relative_to(folder).as_posix())


@contextmanager
def opened_bag(path: Path, scratch: Path) -> Iterator[Path]:
    """Yield the folder of the bag; a zip is unpacked into `scratch`. Raises UserError no-pack, pack-unreadable."""
    if path.is_dir():
        yield path
        return
    if not path.is_file():
        raise UserError("no-pack", path=path)
    try:
        with zipfile.ZipFile(path) as packed:
            members = packed.infolist()
            roots = {member.filename.split("/", 1)[0] for member in members}
            if len(roots) != 1 or sum(member.file_size for member in members) > MOST_ZIPPED:
                raise ValueError("it holds not one bag alone, or one too large")
            if len({member.filename for member in members}) != len(members):
                raise ValueError("two of its members have one name")
            for member in members:
                if not (scratch / member.filename).resolve().is_relative_to(scratch.resolve()):
                    raise ValueError(f"{member.filename} leads out of it")
            packed.extractall(scratch)
    except (OSError, ValueError, RuntimeError, NotImplementedError, zipfile.BadZipFile) as error:
        raise UserError("pack-unreadable", path=path, why=error) from error
    yield scratch / roots.pop()


def check_bag(bag: Path) -> list[str]:
    """What is not as the manifests say, one sentence each; none if the bag is whole. Every file is read, then bagit reads it too."""
    odd = [path for path in bag.rglob("*") if path.is_symlink() or not (path.is_file() or path.is_dir())]
    if odd:
        return [f"{path.relative_to(bag).as_posix()} is a link or a device, no plain file" for path in odd]
    there = {path.relative_to(bag).as_posix() for path in list_files(bag)}
    payload = {name for name in there if name.startswith("data/")}
    found = check_manifest(bag, TAG_MANIFEST, there - payload - {TAG_MANIFEST, SIGNATURE})
    found += check_manifest(bag, MANIFEST, payload)
    empty = [path for path in bag.rglob("*") if path.is_dir() and not os.listdir(path)]
    found += [f"the empty folder {path.relative_to(bag).as_posix()} was added" for path in sorted(empty)]
    if found:
        return found
    try:
        bagit.Bag(str(bag)).validate()
    except bagit.BagValidationError as error:
        return [str(item) for item in error.details] or [str(error)]
    except (bagit.BagError, OSError, ValueError) as error:
        return [str(error)]
    return []


def check_manifest(bag: Path, manifest: str, there: set[str]) -> list[str]:
    """The files that a manifest speaks of: each there with its checksum, and none besides."""
    try:
        data = (bag / manifest).read_bytes()
        listed = read_manifest(data)
    except (OSError, ValueError) as error:
        return [f"{manifest} can't be read: {error}"]
    # nothing vouches for the tag manifest itself, so it has to be as it is written, to the space
    if manifest == TAG_MANIFEST and data != write_manifest(listed):
        return [f"{manifest} was changed: it is not written as packs write it"]
    needed = {MANIFEST, "bagit.txt", "bag-info.txt"} if manifest == TAG_MANIFEST else set()
    found = [f"{name} was added" for name in sorted(there - listed.keys())]
    found += [f"{name} is missing" for name in sorted((listed.keys() | needed) - there)]
    found += [f"{manifest} does not speak of {name}" for name in sorted(needed - listed.keys())]
    for name in sorted(listed.keys() & there):
        if hashlib.sha256((bag / name).read_bytes()).hexdigest() != listed[name]:
            found.append(f"{name} was changed")
    return found
