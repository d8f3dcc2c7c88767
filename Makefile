# Railwright: `make demo` does the whole job once; `make test` runs every check.
# `make test-fast` runs in a minute or so what finds most mistakes.
# Needs Python 3.11 or newer and make; everything else is installed into .venv from the pinned constraints.

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --disable-pip-version-check --quiet

# Nobody has to compile the same modules anew in each of a thousand processes.
unexport PYTHONDONTWRITEBYTECODE

.DEFAULT_GOAL := help
.PHONY: help setup demo test test-fast truth draws lint warm format bench docs verification clean

help:
	@echo "make demo    check, rehearse, run, evaluate and report the example on simulated supplies"
	@echo "make test    linters, type checks, layer contract and all tests"
	@echo "make test-fast  the quick tests alone, within 90 s on two cores: no process of ours, no supply, no real time"
	@echo "make truth   the cases that once came out wrong, with variants: a table of the truth and of what is said"
	@echo "make draws   every draw of the disagreement hunt that was mended; make test plays every fifth of the older ones"
	@echo "make bench   the benchmarks; each prints its figure on its last line"
	@echo "make docs    write docs/documents.md, docs/measures.md and the help text again from their sources"
	@echo "make verification  docs/verification.md: the rehearsal against ngspice, scipy and closed forms"
	@echo "make format  puts right what ruff can put right"
	@echo "make setup   only install, into $(VENV), with the tools for development"
	@echo "make clean   remove $(VENV), caches and the demo's folders"

$(VENV)/pyvenv.cfg:
	@$(PYTHON) scripts/require_python.py
	@$(PYTHON) -m venv $(VENV)

# What is needed to use Railwright, and (second stamp) to work on it as well. A stamp is as new as what it was made from.
MADE_FROM := $(VENV)/pyvenv.cfg pyproject.toml constraints.txt

$(VENV)/.installed: $(MADE_FROM)
	@echo "Installing Railwright into $(VENV) ..."
	@$(PIP) install -c constraints.txt -e .
	@touch $@

# Of so many packages most modules are never imported: each is compiled at its first import.
$(VENV)/.installed-dev: $(MADE_FROM)
	@echo "Installing Railwright and the development tools into $(VENV) ..."
	@$(PIP) install --no-compile -c constraints.txt -e '.[dev]'
	@touch $(VENV)/.installed $@

setup: $(VENV)/.installed-dev

demo: $(VENV)/.installed
	@$(BIN)/railwright demo

lint: $(VENV)/.installed-dev
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --check --quiet . || { echo "make format puts this right"; exit 1; }
	@$(BIN)/mypy --no-error-summary
	@$(BIN)/lint-imports --no-logo

format: $(VENV)/.installed-dev
	@$(BIN)/ruff check --fix --quiet .
	@$(BIN)/ruff format --quiet .

# scripts/run_tests.py says which tests go beside which. Its last line is pytest's summary.
test: $(VENV)/.installed-dev
	@scripts/install_tools.sh
	@$(MAKE) --no-print-directory -j 2 lint warm
	@$(BIN)/python scripts/run_tests.py $(TABLE)

# What every process would otherwise compile for itself: the solver, and the tests' modules.
warm: $(VENV)/.installed-dev
	@$(BIN)/railwright warm-up --quiet
	@$(BIN)/python -m pytest --quiet --collect-only >/dev/null

# Left out is what tests/slow.py lists as slow, with the reason.
test-fast: $(VENV)/.installed-dev
	@scripts/install_tools.sh pdftoppm
	@$(BIN)/python -m pytest -q -n 2 -m "not slow and not alone"

# The table *case, variant, truth, said*: tests/truth/cases/README.md.
TABLE := -p tests.truth.table

draws: $(VENV)/.installed-dev
	@RAILWRIGHT_ALL_DRAWS=1 $(BIN)/python -m pytest -q -n 2 tests/test_disagreements.py

truth: $(VENV)/.installed-dev
	@$(BIN)/python -m pytest -q -n 2 tests/truth $(TABLE)

bench: $(VENV)/.installed-dev
	@set -e; for file in benchmarks/*.py; do echo "== $$file"; $(BIN)/python -m benchmarks.$$(basename $$file .py); done

docs: $(VENV)/.installed
	@$(BIN)/python -m railwright.documents.reference docs/documents.md
	@$(BIN)/python -m railwright.evaluation.reference docs/measures.md
	@$(BIN)/python -m railwright.cli.help

# Numbers differ from machine to machine in their last digits, so `make docs` leaves this one alone.
verification: $(VENV)/.installed-dev
	@scripts/install_tools.sh
	@$(BIN)/python scripts/verify.py

clean:
	rm -rf $(VENV) demo-run* build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
