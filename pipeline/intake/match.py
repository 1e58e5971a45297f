"""Which dialect reads which file. In: what is received and the dialects that came with it. Out: file -> dialect."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path, PurePosixPath

from pipeline import contract
from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect, plain_name
from pipeline.intake.read_dialect import canonical_dialect, read_dialect
from pipeline.intake.receive import Intake
from pipeline.intake.sheet import find_answered
from pipeline.intake.store import ReceivedFile, Store


@cache
def generic_dialects() -> tuple[Dialect, ...]:
    """Dialects that come with firekpi, for any folder: none yet."""
    folder = files("pipeline.intake").joinpath("dialects")
    if not folder.is_dir():
        return ()
    found = sorted((item.name, item.read_bytes()) for item in folder.iterdir() if item.name.endswith(".toml"))
    return tuple(read_dialect(data, name) for name, data in found)


def match_dialects(intake: Intake, ledger: list[ReceivedFile], store: Store) -> list[tuple[ReceivedFile, Dialect]]:
    """Pair each file with its dialect: its folder's own first, then firekpi's, then the contract's names.

    A folder given this time brings its dialects; those of another were kept when it was last given.
    Raises UserError unknown-file, two-dialects, bad-dialect.
    """
    own = {folder.name: _read_all(folder.dialects, folder.path / "dialects") for folder in intake.folders}
    kept = store.dialects()
    for name in sorted({file.folder for file in ledger} - own.keys()):
        own[name] = _read_all(kept.get(name, {}), store.root / "received.json" / name)
    by_id = {file.file_id: file for file in ledger}
    return [(file, _match_file(file, own, by_id, store)) for file in ledger]


def _match_file(file: ReceivedFile, own: dict[str, tuple[Dialect, ...]], by_id: dict[str, ReceivedFile], store: Store) -> Dialect:
    """By name; a file that no name tells may be a mended sheet, which says what it answers. Raises UserError unknown-file."""
    dialect = _match_one(file, own[file.folder]) or _match_canonical(file)
    if dialect is not None:
        return dialect
    answered = by_id.get(find_answered(store.open_file(file)) or "")
    if answered is None:
        raise UserError("unknown-file", path=file.path, tables=", ".join(f"{name}.csv" for name in contract.tables()))
    return _match_file(answered, own, by_id, store)


def _read_all(texts: dict[str, bytes], place: Path) -> tuple[Dialect, ...]:
    return tuple(read_dialect(data, str(place / name)) for name, data in texts.items())


def _match_one(file: ReceivedFile, own: tuple[Dialect, ...]) -> Dialect | None:
    """The one dialect of the folder, else of firekpi, that reads a file of this name. Raises UserError two-dialects."""
    stem = PurePosixPath(plain_name(file.inner_path)).stem.lower()
    for dialects in (own, generic_dialects()):
        found = [dialect for dialect in dialects if dialect.sheet_name == stem]
        found = found or [dialect for dialect in dialects if dialect.reads(file.inner_path)]
        if len(found) > 1:
            raise UserError("two-dialects", path=file.path, dialects=", ".join(item.name for item in found))
        if found:
            return found[0]
    return None


def _match_canonical(file: ReceivedFile) -> Dialect | None:
    """The dialect of a file called after a table, or of a sheet of rows of one."""
    path = PurePosixPath(plain_name(file.inner_path).lower())
    for table in contract.tables():
        dialect = canonical_dialect(table, "\t" if path.suffix == ".tsv" else ",")
        if path.suffix in (".csv", ".tsv") and path.stem in (table, dialect.sheet_name):
            return dialect
    return None
