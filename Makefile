# Every target makes the environment first; a fresh machine needs Python 3.11+ and make.
PYTHON ?= python3
BIN := .venv/bin
STAMP := .venv/.installed

.PHONY: demo test lint types bench clean

demo: .venv/.runtime
	$(BIN)/gracewright ornament --demo --out demo-out

test: lint types
	$(BIN)/python -m pytest -n 2 --dist loadfile

lint: $(STAMP)
	$(BIN)/ruff check src tests bench scripts fuzz

types: $(STAMP)
	$(BIN)/mypy

bench: $(STAMP)
	for table in bench/bench_*.py; do $(BIN)/python $$table || exit 1; done

bench-%: $(STAMP)  # one table: make bench-study, make bench-taste, ...
	$(BIN)/python bench/bench_$*.py

clean:
	rm -rf .venv demo-out build dist

.venv/bin/python:
	$(PYTHON) -m venv .venv

.venv/.runtime: .venv/bin/python pyproject.toml
	$(BIN)/python -m pip install -q -e .
	touch $@

$(STAMP): .venv/bin/python pyproject.toml
	$(BIN)/python -m pip install -q -e ".[dev]"
	touch $@ .venv/.runtime
