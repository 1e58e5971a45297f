"""The house rules that a reader relies on: which way the road runs, and that what a user meets is documented."""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.conftest import LONG

HOUSE = Path(__file__).parent.parent
ROAD = ["intake", "checks", "warehouse", "duties", "figures", "evidence"]
SOURCES = sorted([*HOUSE.glob("pipeline/**/*.py"), *HOUSE.glob("dashboards/**/*.py")])
BOTH_WINGS = {"pipeline/cli.py"}


def imports_of(path: Path) -> set[str]:
    """Dotted names of everything a module imports, at its top or inside a function."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 and node.module, f"{path}: imports are written in full"
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def module_name(path: Path) -> str:
    parts = path.relative_to(HOUSE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(HOUSE)))
def test_imports_run_down_the_road(path):
    name = str(path.relative_to(HOUSE).as_posix())
    parts = name.split("/")
    imported = imports_of(path)
    if parts[0] == "pipeline" and name not in BOTH_WINGS:
        assert not [item for item in imported if item.startswith("dashboards")]
    if parts[0] == "dashboards":
        behind_the_door = [f"pipeline.{room}" for room in ROAD] + [
            "pipeline.run",
            "pipeline.cli",
            "pipeline.explain",
            "pipeline.tell",
            "pipeline.sheets",
            "pipeline.withdraw",
            "pipeline.learn",
        ]
        assert not [item for item in imported if item.startswith(tuple(behind_the_door))]
    if parts[0] == "pipeline" and len(parts) > 2 and parts[1] in ROAD:
        later = ROAD[ROAD.index(parts[1]) + 1 :]
        assert not [item for item in imported if item.startswith(tuple(f"pipeline.{room}" for room in later))]
    if parts[:2] == ["pipeline", "contract"]:
        assert not [item for item in imported if item.startswith("pipeline.") and not item.startswith("pipeline.contract")]


def test_there_is_no_import_circle():
    modules = {module_name(path): path for path in SOURCES}
    graph = {
        name: {target for target in imports_of(path) if target in modules and target != name} for name, path in modules.items()
    }
    state: dict[str, int] = {}

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert state.get(name) != 1, f"import circle: {' -> '.join((*trail, name))}"
        if state.get(name) == 2:
            return
        state[name] = 1
        for target in sorted(graph[name]):
            visit(target, (*trail, name))
        state[name] = 2

    for name in graph:
        visit(name, ())
    assert len(state) == len(modules) > 20


def test_every_error_slug_is_used_and_every_used_slug_defined():
    defined = set(tomllib.loads((HOUSE / "pipeline/errors.toml").read_text(encoding="utf-8")))
    used = set()
    for path in SOURCES:
        used |= set(re.findall(r"UserError\(\s*\"([a-z-]+)\"", path.read_text(encoding="utf-8")))
    assert used == defined


def test_every_check_and_flag_says_what_and_what_to_do():
    checks = tomllib.loads((HOUSE / "pipeline/checks/checks.toml").read_text(encoding="utf-8"))
    for slug, rule in checks.items():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", slug) and rule["title"] and rule["reason"] and rule["remedy"], slug
        assert (rule.get("applies") == "reader") == ("predicate" not in rule), slug
    flags = tomllib.loads((HOUSE / "pipeline/checks/flags.toml").read_text(encoding="utf-8"))
    queries = ["checks/flags.sql", "warehouse/left_out.sql", "duties/stated_due.sql", "figures/quiet_vessel.sql"]
    texts = "".join((HOUSE / "pipeline" / name).read_text(encoding="utf-8") for name in queries)
    assert set(re.findall(r"'([a-z]+(?:-[a-z]+)+)'", texts)) == set(flags)


def test_the_readme_names_every_command_and_page():
    readme = (HOUSE / "README.md").read_text(encoding="utf-8")
    cli = (HOUSE / "pipeline/cli.py").read_text(encoding="utf-8")
    commands = re.findall(r"add_parser\(\s*\"(\w+)\"", cli)
    assert len(commands) >= 3
    for command in commands:
        assert f"firekpi {command}" in readme
    for option in re.findall(r"\"(--[a-z-]+)\"", cli):
        assert option in readme or option == "--version", option
    assert (
        "Fleet, Units, Overdue, Fitness, Defects, Corrosion, Agents, Watch list, one per vessel, Data quality, Method" in readme
    )
    pages = {path.stem for path in (HOUSE / "dashboards/pages").glob("*.py")}
    assert {"fleet", "overdue", "defects", "corrosion", "agents", "watch_list", "vessel", "quality", "method"} <= pages


def test_every_long_test_is_there():
    """A name that no test bears would let one slip back, or be thought to be run by `make test-slow`."""
    for module, names in LONG.items():
        text = (HOUSE / "tests" / f"{module.removeprefix('tests/')}.py").read_text(encoding="utf-8")
        for name in names:
            assert name == "*" or f"def {name.split('[')[0]}(" in text, (module, name)


def test_every_figure_says_what_one_row_is():
    for path in HOUSE.glob("pipeline/figures/*.sql"):
        text = path.read_text(encoding="utf-8")
        created = re.findall(r"create table (figure\.\w+)", text)
        assert created or text.startswith("-- one row is"), path
        for table in created:
            assert re.search(rf"-- {re.escape(table)}: one row is", text), f"{path.name}: {table} lacks 'one row is'"


def test_sql_never_asks_a_clock():
    for path in HOUSE.glob("pipeline/**/*.sql"):
        text = path.read_text(encoding="utf-8").lower()
        assert not re.search(r"current_date|current_timestamp|\bnow\(\)|today\(\)", text), path


def test_no_file_is_read_by_guessing():
    for path in SOURCES:
        text = path.read_text(encoding="utf-8")
        assert "ignore_errors = true" not in text.lower() and "read_csv_auto" not in text and "pd.read_csv" not in text, path
        if "read_csv(" in text:
            assert "auto_detect = false" in text, path


def test_the_marker_of_a_site_is_known_where_exports_are_looked_for():
    from dashboards.site import MARKER
    from pipeline.intake.folder import SITE_MARKER

    assert MARKER == SITE_MARKER


@pytest.mark.parametrize("arguments", [["check", "."], ["format", "--check", "."]])
def test_ruff_has_nothing_to_say(arguments):
    done = subprocess.run([sys.executable, "-m", "ruff", *arguments], cwd=HOUSE, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_copy_of_what_git_keeps_has_all_that_a_run_needs(tmp_path, exports, small_fleet):
    """git keeps no empty folder: a run from an exported copy must not miss one."""
    listing = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", "pipeline"], cwd=HOUSE, capture_output=True, text=True, check=True
    )
    for name in listing.stdout.splitlines():
        if (HOUSE / name).is_file():
            target = tmp_path / "copy" / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(HOUSE / name, target)
    call = [
        sys.executable,
        "-m",
        "pipeline.cli",
        "run",
        str(exports(small_fleet)),
        "--no-site",
        "--store",
        "s",
        "--db",
        "d.duckdb",
    ]
    done = subprocess.run(call, cwd=tmp_path / "copy", capture_output=True, text=True, env={**os.environ, "PYTHONPATH": "."})
    assert done.returncode == 0, done.stderr
