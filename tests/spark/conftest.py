"""What the tests of Spark need: Java and the extra. Without them they are skipped, and say so."""

from __future__ import annotations

import importlib.util
import os
import shutil
from pathlib import Path

import pytest


def lacks_spark() -> str | None:
    """What is missing, or None."""
    for name in ("pyspark", "sqlglot"):
        if importlib.util.find_spec(name) is None:
            return f"{name} is not installed"
    home = os.environ.get("JAVA_HOME")
    return None if shutil.which(str(Path(home) / "bin" / "java") if home else "java") else "there is no Java"


def pytest_runtest_setup(item):
    if item.get_closest_marker("spark") and (why := lacks_spark()):
        pytest.skip(why)
