# Two commands for a newcomer: `make demo` and `make test`. Everything is installed into .venv.
PYTHON ?= python3
VENV := .venv
PIP := $(VENV)/bin/python -m pip --disable-pip-version-check --quiet
AS_OF := 2026-10-31

.PHONY: help demo test test-slow test-spark check fix bench bench-huge bench-pages screenshots samples clean

help:            ## list the targets
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*##/ -/'

demo: $(VENV)/.demo-ready  ## sample exports in, database and pages out
	$(VENV)/bin/firekpi run sample_exports --as-of $(AS_OF)

test: $(VENV)/.test-ready  ## every test but the long statistical ones (test-slow)
	$(VENV)/bin/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder

test-slow: $(VENV)/.test-ready  ## the long and statistical tests
	$(VENV)/bin/python -m pytest -m slow

test-spark: $(VENV)/.spark-ready  ## figures of Spark beside DuckDB's (needs Java 17 or newer; skipped without it)
	$(VENV)/bin/python -m pytest -m spark tests/spark

check: $(VENV)/.test-ready  ## formatting and lint, changes nothing
	$(VENV)/bin/ruff format --check . && $(VENV)/bin/ruff check .

fix: $(VENV)/.test-ready  ## format and mend what can be mended
	$(VENV)/bin/ruff format . && $(VENV)/bin/ruff check --fix .

bench: $(VENV)/.test-ready  ## speed and memory of runs on 10, 100 and 1,000 vessels (half an hour, 5 GB of disk)
	$(VENV)/bin/python -m tests.benchmarks --work .bench

bench-huge: $(VENV)/.test-ready  ## a bare load and a whole run of 10,000 vessels, once (half an hour, 30 GB of disk)
	$(VENV)/bin/python -m tests.benchmarks --work .bench --vessels 10000 --repeats 1 --memory 8GB --only-runs --out .bench-huge

bench-pages: $(VENV)/.test-ready  ## sizes and speed of the pages of a thousand vessels
	$(VENV)/bin/python -m tests.browser.bench_pages

screenshots: $(VENV)/.test-ready  ## draw the pictures of the README anew
	$(VENV)/bin/python -m tests.browser.screenshots

samples: $(VENV)/.test-ready  ## write sample_exports anew from the simulator
	$(VENV)/bin/python -m tests.simulator sample sample_exports

clean:           ## take away what the demo made
	rm -rf .firekpi firekpi.duckdb site

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Python 3.11 or newer is needed, $(PYTHON) is older: make PYTHON=python3.12 ..."; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.demo-ready: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) install -c constraints.txt -e .
	touch $@

$(VENV)/.test-ready: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) install -c constraints.txt -e '.[test]'
	touch $@ $(VENV)/.demo-ready

$(VENV)/.spark-ready: pyproject.toml constraints.txt $(VENV)/.test-ready
	$(PIP) install -c constraints.txt -e '.[spark]'
	touch $@
