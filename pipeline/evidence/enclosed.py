"""What a pack encloses of the store, and the store that it makes again.

In: a store, the files chosen, the folder of a pack. Out: originals, dialects and rules as files under their own names, and
received.json that says what came when; from these a store of its own, for which no other is needed.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

from pipeline.errors import UserError
from pipeline.figures.prices import PRICES
from pipeline.intake.store import ReceivedFile, Store, Withdrawal, sort_received

RECEIVED = "received.json"
UNSAFE = re.compile(r'[%\x00-\x1f\\:*?"<>|]|(?<=/)\.+(?=/)|[. ]+(?=/)')
Redact = Callable[[ReceivedFile, bytes], bytes]


def write_enclosed(store: Store, chosen: list[ReceivedFile], redact: Redact, folder: Path) -> dict[str, str]:
    """Write the originals, their dialects and all rule files; gives the file_ids of redacted copies by those they had."""
    entries, renamed = [], {}
    paths = [file.path for file in chosen]
    for file in sorted(chosen, key=lambda file: file.is_corrections):  # what corrections say of names is learnt from the exports
        data = redact(file, store.open_file(file))
        name = name_copy(file, paths.count(file.path) > 1)
        write_file(folder / name, data)
        digest = hashlib.sha256(data).hexdigest()
        copy = replace(file, sha256=digest, bytes=len(data), container="")
        entry = {name: value for name, value in asdict(copy).items() if name != "container"} | {"enclosed_as": name}
        if digest != file.sha256:
            renamed[file.file_id] = copy.file_id
            entry["sha256_as_received"] = file.sha256
        entries.append(entry)
    folders = {file.folder for file in chosen}
    for name, texts in store.dialects().items():
        if name in folders:
            write_texts(folder / "dialects" / name, texts)
    for name, texts in store.rules().items():
        write_texts(folder / "rules" / name, {file: data for file, data in texts.items() if file != PRICES})
    write_file(folder / RECEIVED, json.dumps({"files": entries}, indent=1, ensure_ascii=False).encode())
    return renamed


def name_copy(file: ReceivedFile, has_others: bool) -> str:
    """Where the original lies in the pack: under its own path, marked where versions or letters that manifests can't hold ask for it."""
    plain = UNSAFE.sub("_", file.path)
    mark = (f".version-{file.version}" if has_others else "") + (f".{file.file_id}" if plain != file.path else "")
    return f"originals/{plain}{mark}"


def write_texts(folder: Path, texts: dict[str, bytes]) -> None:
    for name, data in texts.items():
        write_file(folder / name, data)


def write_file(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def make_store(folder: Path, root: Path) -> Store:
    """A store of what the pack encloses, at `root`. Raises UserError pack-unreadable."""
    store, files = Store(root), []
    try:
        for entry in json.loads((folder / RECEIVED).read_text(encoding="utf-8"))["files"]:
            inside = (folder / entry.pop("enclosed_as")).resolve()
            if not inside.is_relative_to((folder / "originals").resolve()):
                raise ValueError(f"{inside} lies outside the pack")
            entry.pop("sha256_as_received", None)
            withdrawals = tuple(Withdrawal(**item) for item in entry.pop("withdrawals"))
            file = ReceivedFile(**entry, withdrawals=withdrawals)
            if store.keep(inside.read_bytes(), set()) != file.sha256:
                raise ValueError(f"{file.path} has not the checksum that stands there")
            files.append(file)
        dialects, rules = read_folders(folder / "dialects"), read_folders(folder / "rules")
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise UserError("pack-unreadable", path=folder / RECEIVED, why=error) from error
    store.write_ledger(sort_received(files), dialects, rules)
    return store


def read_folders(place: Path) -> dict[str, dict[str, bytes]]:
    """folder -> file name -> content."""
    if not place.is_dir():
        return {}
    return {
        folder.name: {
            path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
        }
        for folder in sorted(place.iterdir())
        if folder.is_dir()
    }
