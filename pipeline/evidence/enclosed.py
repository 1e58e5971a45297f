"""What a pack encloses of the store, and the store that it makes again.

In: a store, the files chosen, the folder of a pack. Out: originals, dialects and rules as files under their own names, and
received.json that says what came when; from these a store of its own, for which no other is needed.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import asdict, fields, replace
from pathlib import Path

from pipeline.errors import UserError
from pipeline.figures.prices import PRICES
from pipeline.intake.sheet import find_answered
from pipeline.intake.store import ReceivedFile, Store, Withdrawal, sort_received

RECEIVED = "received.json"
UNSAFE = re.compile(r'[%\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\\:*?"<>|]|(?<![^/])\.+(?=/|$)|[. ]+(?=/|$)')
Redact = Callable[[ReceivedFile, bytes], bytes]


def write_enclosed(store: Store, chosen: list[ReceivedFile], redact: Redact, is_redacted: bool, folder: Path) -> dict[str, str]:
    """Write the originals, the archives they came in, their dialects and all rule files.

    Gives the file_ids of redacted copies by those they had. A mended sheet names the file that it answers, so sheets come after the
    exports, and lists of corrections last: what they say of names is learnt from both.
    """
    entries, renamed = [], {}
    paths = [file.path for file in chosen]
    for file in sorted(chosen, key=lambda file: (file.is_corrections, find_answered(store.open_file(file)) is not None)):
        data = redact(file, replace_ids(store.open_file(file), renamed))
        name = name_copy(file, paths.count(file.path) > 1)
        write_file(folder / name, data)
        digest = hashlib.sha256(data).hexdigest()
        copy = replace(file, sha256=digest, bytes=len(data), container="")
        entry = {key: value for key, value in asdict(copy).items() if key != "container"} | {"enclosed_as": name}
        if digest != file.sha256:
            renamed[file.file_id] = copy.file_id
            entry["sha256_as_received"] = file.sha256
        if file.container and not is_redacted:
            entry["came_in"] = f"containers/{name_plainly(find_container(file))}.{file.container[:12]}"
            write_file(folder / entry["came_in"], (store.root / "files" / file.container).read_bytes())
        entries.append(entry)
    said: dict = {"files": entries}
    folders = {file.folder for file in chosen}
    for what, kept in (("dialects", store.dialects()), ("rules", store.rules())):
        said[what] = {
            name: {file: write_text(folder, f"{what}/{name}/{file}", data) for file, data in texts.items() if file != PRICES}
            for name, texts in kept.items()
            if what == "rules" or name in folders
        }
    write_file(folder / RECEIVED, json.dumps(said, indent=1, ensure_ascii=False).encode())
    return renamed


def replace_ids(data: bytes, renamed: dict[str, str]) -> bytes:
    """What a sheet answers, by the file_ids that the copies have."""
    if renamed and find_answered(data):
        for before, after in renamed.items():
            data = data.replace(before.encode(), after.encode())
    return data


def find_container(file: ReceivedFile) -> str:
    """The path of the archive that the file came in."""
    parts = file.path.split("/")
    zipped = next((number for number, part in enumerate(parts[:-1]) if part.lower().endswith(".zip")), len(parts) - 1)
    return "/".join(parts[: zipped + 1])


def name_plainly(path: str) -> str:
    """The path without what manifests and disks can't hold."""
    return UNSAFE.sub("_", path)


def name_copy(file: ReceivedFile, has_others: bool) -> str:
    """Where the original lies in the pack: under its own path, marked where versions, letters or an archive ask for it."""
    plain = name_plainly(file.path)
    mark = (f".version-{file.version}" if has_others else "") + (f".{file.file_id}" if plain != file.path else "")
    unpacked = ".unpacked" if file.container and find_container(file) == file.path else ""
    return f"originals/{plain}{mark}{unpacked}"


def write_text(folder: Path, path: str, data: bytes) -> str:
    """Write a dialect or a file of rules; gives the name it has in the pack."""
    plain = name_plainly(path)
    name = plain if plain == path else f"{plain}.{hashlib.sha256(path.encode('utf-8', 'replace')).hexdigest()[:12]}"
    write_file(folder / name, data)
    return name


def write_file(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def make_store(folder: Path, root: Path) -> Store:
    """A store of what the pack encloses, at `root`. Raises UserError pack-unreadable."""
    store, files = Store(root), []
    try:
        said = json.loads((folder / RECEIVED).read_text(encoding="utf-8"))
        for entry in said["files"]:
            data = read_inside(folder, "originals", entry["enclosed_as"])
            files.append(read_received(entry, store.keep(data, set())))
        kept = {
            what: {
                str(name): {str(file): read_inside(folder, what, place).decode("utf-8") for file, place in texts.items()}
                for name, texts in said[what].items()
            }
            for what in ("dialects", "rules")
        }
        dialects, rules = (
            {name: {file: text.encode() for file, text in texts.items()} for name, texts in kept[what].items()} for what in kept
        )
        store.write_ledger(sort_received(files), dialects, rules)
        store.ledger()
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise UserError("pack-unreadable", path=folder / RECEIVED, why=str(error) or type(error).__name__) from error
    return store


def read_inside(folder: Path, part: str, name: str) -> bytes:
    """A file that received.json names, from its own part of the pack. Raises ValueError, OSError."""
    inside = (folder / name).resolve()
    if not inside.is_relative_to((folder / part).resolve()):
        raise ValueError(f"{name} lies outside {part}")
    return inside.read_bytes()


def read_received(entry: dict, digest: str) -> ReceivedFile:
    """One entry, its types checked. Raises ValueError, TypeError, KeyError."""
    names = {item.name for item in fields(ReceivedFile)} - {"withdrawals", "container"}
    withdrawals = tuple(Withdrawal(**item) for item in entry["withdrawals"])
    file = ReceivedFile(**{name: entry[name] for name in names}, withdrawals=withdrawals)
    for name in names:
        if not isinstance(entry[name], int if name in ("bytes", "version") else str):
            raise ValueError(f"{name} of {file.path} can't be {entry[name]!r}")
    if digest != file.sha256:
        raise ValueError(f"{file.path} has not the checksum that stands there")
    return file
