"""A store with a last good state and new files on the way, runs that can be made to fail, and what must hold after."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.conftest import VESSEL_A, VESSEL_B, write_folder
from tests.golden.conftest import figure_rows, site_bytes

RUN = ("run", "exports", "--as-of", "2026-05-10")
DIALECT = """
    name = "round-log"
    files = ["log_*.csv"]
    delimiter = ";"
    date_formats = ["%d.%m.%Y"]
    [[table]]
    name = "inspection"
    [table.columns]
    unit_id = "No"
    imo_number = { constant = "9999993" }
    inspected_on = "Day"
    outcome = { from = "Seen", words = { ok = "satisfactory" } }"""
EARLIER = {
    "dialects/log.toml": DIALECT,
    "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
    "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on
        U1,{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31
        U2,{VESSEL_A},co2,portable,5,2018-06-01,2020-02-01""",
    "inspection.csv": f"""unit_id,imo_number,inspected_on,outcome
        U1,{VESSEL_A},2026-03-31,satisfactory
        U2,{VESSEL_A},2026-02-30,satisfactory""",
}
# New content under a known path, new files, and a dialect that changed: all that a second run may have to publish.
LATER = {
    "dialects/log.toml": DIALECT.replace('ok = "satisfactory"', 'ok = "satisfactory", bad = "unsatisfactory"'),
    "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron\n{VESSEL_B},Brisk Plover",
    "inspection.csv": f"""unit_id,imo_number,inspected_on,outcome
        U1,{VESSEL_A},2026-03-31,unsatisfactory
        U2,{VESSEL_A},2026-02-28,satisfactory""",
    "log_may.csv": 'No;Day;Seen\nU1;02.05.2026;ok\nU2;03.05.2026;bad\nU2;"04.05.2026;ok\nU9;05.05.2026;ok\nU1;02.05.2026;ok',
}


def write_earlier(place: Path) -> None:
    """The folder of exports as it was at the first run; the times of receipt are declared, so that no clock counts."""
    times = "\n".join(f"{name},2026-04-01" for name in EARLIER if name.endswith(".csv"))
    write_folder(place / "exports", {**EARLIER, "received.csv": f"path,received_at\n{times}"})


def write_later(place: Path) -> None:
    """The same folder a month later."""
    times = "\n".join(f"{name},2026-05-06" for name in LATER if name.endswith(".csv"))
    write_folder(place / "exports", {**LATER, "received.csv": f"path,received_at\nunit.csv,2026-04-01\n{times}"})


@dataclass(frozen=True)
class State:
    """What a run has published, without what differs from run to run; None where it is not there."""

    rows: dict | None
    site: dict | None
    received: list | None
    files: tuple[str, ...]


ROWS_READ: dict[str, dict] = {}


def read_rows(db: Path) -> dict:
    """The rows of the database; the same bytes give the same rows and are read once."""
    digest = hashlib.sha256(db.read_bytes()).hexdigest()
    if digest not in ROWS_READ:
        ROWS_READ[digest] = figure_rows(db)
    return ROWS_READ[digest]


def read_state(place: Path) -> State:
    """Read it as a user would: open the database, list the pages, read the ledger; and name every file there is."""
    db, site, ledger = place / "firekpi.duckdb", place / "site", place / ".firekpi" / "received.json"
    return State(
        read_rows(db) if db.exists() else None,
        site_bytes(site) if site.exists() else None,
        json.loads(ledger.read_text()) if ledger.exists() else None,
        tuple(sorted(path.relative_to(place).as_posix() for path in place.rglob("*"))),
    )


@dataclass(frozen=True)
class Firekpi:
    """The server of forks: call it with what to do and what shall go wrong; gives what became of it."""

    process: subprocess.Popen

    def __call__(self, place: Path, *args: str, **fault) -> dict:
        return self.ask(args=list(args or RUN), cwd=str(place), **fault)

    def ask(self, **request) -> dict:
        self.process.stdin.write(json.dumps(request) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())


@pytest.fixture(scope="session")
def firekpi():
    server = [sys.executable, "-m", "tests.faults.fork_server"]
    root = Path(__file__).parents[2]
    with subprocess.Popen(server, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=root) as process:
        yield Firekpi(process)
        process.stdin.close()


@dataclass(frozen=True)
class Scene:
    """Undisturbed: a place before the second run with its state, the state after it, and how long that run takes."""

    before: State
    after: State
    first: Callable[[Path], Path]
    second: Callable[[Path], Path]
    seconds: float


@pytest.fixture(scope="session")
def scene(firekpi, tmp_path_factory) -> Scene:
    """`first` and `second` copy the place as it is before the first and before the second run."""
    raw, good = tmp_path_factory.mktemp("raw"), tmp_path_factory.mktemp("good")
    for place in (raw, good):
        write_earlier(place)
    done = firekpi(good)
    assert done["code"] == 0, done["err"]
    write_later(good)
    after = Path(shutil.copytree(good, tmp_path_factory.mktemp("after") / "place"))
    done = firekpi(after)
    assert done["code"] == 0, done["err"]
    before, whole = read_state(good), read_state(after)
    assert before.rows != whole.rows and before.site != whole.site and before.received != whole.received
    assert whole.rows["intake.quarantine"] and whole.rows["history.inspection"]
    return Scene(
        before, whole, lambda place: Path(shutil.copytree(raw, place)), lambda place: Path(shutil.copytree(good, place)),
        done["seconds"],
    )  # fmt: skip
