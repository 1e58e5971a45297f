"""Which dialect reads which file. In: the ledger and the dialects kept with each folder. Out: file -> dialect."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path, PurePosixPath

from pipeline import contract
from pipeline.errors import UserError
from pipeline.intake.dialect import Dialect, canonical_dialect, read_dialect
from pipeline.intake.store import ReceivedFile, Store


@cache
def generic_dialects() -> tuple[Dialect, ...]:
    """Dialects that come with firekpi, for any folder."""
    folder = Path(str(files("pipeline.intake").joinpath("dialects")))
    return tuple(read_dialect(path) for path in sorted(folder.glob("*.toml")))


def match_dialects(ledger: list[ReceivedFile], store: Store) -> list[tuple[ReceivedFile, Dialect]]:
    """Pair each file with its dialect: its folder's own first, then firekpi's, then the contract's names.

    Raises UserError unknown-file, two-dialects, bad-dialect.
    """
    own = {
        folder: tuple(read_dialect(path) for path in store.dialect_files(folder))
        for folder in sorted({file.folder for file in ledger})
    }
    return [(file, _match_one(file, own[file.folder])) for file in ledger]


def _match_one(file: ReceivedFile, own: tuple[Dialect, ...]) -> Dialect:
    for dialects in (own, generic_dialects()):
        found = [dialect for dialect in dialects if dialect.reads(file.inner_path)]
        if len(found) > 1:
            raise UserError("two-dialects", path=file.path, dialects=", ".join(item.name for item in found))
        if found:
            return found[0]
    path = PurePosixPath(file.inner_path)
    if path.suffix.lower() == ".csv" and path.stem.lower() in contract.tables():
        return canonical_dialect(path.stem.lower())
    raise UserError("unknown-file", path=file.path, tables=", ".join(f"{name}.csv" for name in contract.tables()))
