"""The sample exports. In: a folder. Out: sheets in four styles, dialects, received.csv, expected counts, README."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

from .life import Life, simulate_life
from .parameters import PROVIDERS
from .sample_fleet import CALDER, CANONICAL, END, FLEET, KESTRIN, OSTEN, SEED, START, TRUTH
from .sample_sheets import DIALECTS, build_book, group_tables
from .sheets import Sheet, count_rows
from .show_verdicts import show_verdicts
from .spoil_sample import correct_cell, spoil_book, spoil_registers

LAYERS = Path(__file__).parent / "layers"
README = Path(__file__).parent / "data" / "sample_readme.md"


def make_sample() -> tuple[Life, dict[str, Sheet], dict[str, int]]:
    """The truth, the sheets, and the doubtful rows by kind."""
    life = simulate_life(FLEET, START, END, SEED, TRUTH)
    fleet, units = group_tables(life)
    doubtful = spoil_registers(units)
    book = build_book(life, fleet, units)
    show_verdicts(book, units["canonical"], *(FLEET[v].imo_number for v in CANONICAL))
    rows = [row for some in units.values() for row in some]
    doubtful |= spoil_book(book, rows)
    known = Counter(row["made_on_precision"] for row in rows)
    return life, book, doubtful | {f"register entries with only the {p} of manufacture": known[p] for p in ("year", "month")}


def write_lines(path: Path, lines: list[tuple]) -> None:
    """A small CSV of plain texts."""
    path.write_bytes(("\n".join(",".join(map(str, line)) for line in lines) + "\n").encode())


def write_sample(out: Path) -> Life:
    """Write the whole folder. Returns the truth."""
    life, book, doubtful = make_sample()
    corrections = correct_cell(book)
    out.mkdir(parents=True, exist_ok=True)
    for sheet in book.values():
        sheet.write(out)
    for name, folder in (("dialects", DIALECTS), ("layers", LAYERS)):
        (out / name).mkdir(exist_ok=True)
        for path in sorted(folder.glob("*.toml")):
            shutil.copyfile(path, out / name / path.name)
    totals, broken = count_rows(list(book.values()))
    received = [("corrections.csv", "2024-11-20"), *sorted((s.path, s.received_at) for s in book.values())]
    write_lines(out / "received.csv", [("path", "received_at"), *received])
    write_lines(out / "corrections.csv", corrections)
    header = ("path", "rows_read", "rows_loaded", "rows_quarantined", "rows_duplicate")
    write_lines(out / "expected_counts.csv", [header, *totals])
    write_lines(out / "expected_quarantine.csv", [("path", "table_name", "rule", "rows"), *broken])
    (out / "exports.toml").write_bytes(b'# Files in this folder that are no exports.\nignore = ["expected_*.csv"]\n')
    (out / "README.md").write_bytes(describe_sample(book, totals, broken, doubtful).encode())
    return life


def describe_sample(book: dict[str, Sheet], totals: list, broken: list, doubtful: dict[str, int]) -> str:
    """The README, its numbers counted and not typed."""
    rules, by_file = Counter(), Counter()
    for path, _, rule, rows in broken:
        rules[rule] += rows
        by_file[path] += rows
    names = {key: " and ".join(f"{FLEET[v].name} ({FLEET[v].imo_number})" for v in numbers) for key, numbers in
             (("canonical", CANONICAL), ("osten", OSTEN), ("calder", CALDER), ("kestrin", KESTRIN))}  # fmt: skip
    return README.read_text(encoding="utf-8").format(
        files=len(book), read=sum(t[1] for t in totals), loaded=sum(t[2] for t in totals), quarantined=sum(t[3] for t in totals),
        duplicate=sum(t[4] for t in totals), **names, providers=", ".join(p.name for p in PROVIDERS),
        rules="\n".join(f"| `{rule}` | {rows} |" for rule, rows in sorted(rules.items())),
        spoiled="\n".join(f"| {path} | {rows} |" for path, rows in sorted(by_file.items())),
        doubtful="\n".join(f"| {what} | {rows} |" for what, rows in doubtful.items()),
    )  # fmt: skip
