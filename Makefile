# The work on this project in one word each. Everything is installed into .venv, nothing outside it
# (but `make e2e`, which may install Chromium and LibreOffice Calc by apt-get, see .ci/e2e-tools).
#
#   make demo    install what the demo needs, run it
#   make test    install what the tests need; ruff, mypy, pytest without the end-to-end tests
#   make e2e     the tests that drive Chromium and LibreOffice
#   make reference  the tests against heavy public libraries
#   make lint    ruff and mypy only
#   make bench   measure speed beside honest baselines (tests/bench; two minutes)
#   make clean   remove .venv and whatever the tools left behind
#
# Another interpreter: make test PYTHON=/path/to/python3.12 (after `make clean`).

SHELL := bash
.DEFAULT_GOAL := demo
.PHONY: demo test lint e2e reference bench clean

# Asked by running each name, not by looking it up: a launcher of that name may stand for a version that is not there.
SUITS := import sys, venv, ensurepip; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))
PYTHON ?= $(shell for name in python3.13 python3.12 python3.11 python3; do \
  "$$name" -c '$(SUITS)' >/dev/null 2>&1 && { command -v "$$name"; break; }; done)

PY := .venv/bin/python
PIP := $(PY) -m pip --quiet --disable-pip-version-check
JOBS ?= 2

# A stamp is written when its install has ended well: an interrupted one is taken up again, and a changed
# pyproject.toml or constraints.txt installs anew. The folder .venv itself would look finished too early.
.venv/.made:
	@"$(PYTHON)" -c '$(SUITS)' >/dev/null 2>&1 || { echo "equipdecide needs Python 3.11, 3.12 or 3.13 with its venv module, and found none: install one, or name it: make PYTHON=/path/to/python3.12" >&2; exit 1; }
	@echo "Making .venv with $(PYTHON)"
	@"$(PYTHON)" -m venv --clear .venv
	@$(PIP) install --upgrade "pip>=25.1"
	@touch $@

.venv/.core: .venv/.made pyproject.toml constraints.txt
	@echo "Installing equipdecide (once; a minute at most)"
	@$(PIP) install --constraint constraints.txt --editable .
	@touch $@

.venv/.test: .venv/.core
	@echo "Installing what the tests need (once; JupyterLab among them)"
	@$(PIP) install --constraint constraints.txt --editable ".[notebook,workbook,slides,test]"
	@touch $@

.venv/.e2e: .venv/.test
	@echo "Installing what the end-to-end tests need (once)"
	@$(PIP) install --constraint constraints.txt --editable ".[notebook,workbook,slides,test,e2e]"
	@touch $@

.venv/.reference: .venv/.test
	@echo "Installing the reference libraries (once)"
	@$(PIP) install --constraint constraints.txt --editable ".[notebook,workbook,slides,test,reference]"
	@touch $@

.venv/.bench: .venv/.test
	@echo "Installing the compiled library that rates of return are measured against (once)"
	@$(PIP) install --constraint constraints.txt --editable ".[notebook,workbook,slides,test,bench]" || echo "it cannot be had: its rows are left out"
	@touch $@

demo: .venv/.core
	@$(PY) -m equipdecide.demo

lint: .venv/.test
	@$(PY) -m ruff check .
	@$(PY) -m ruff format --check .
	@$(PY) -m mypy

test: lint
	@$(PY) -m pytest -m "not e2e and not reference" -n $(JOBS)

e2e: .venv/.e2e
	@.ci/e2e-tools
	@$(PY) -m pytest -m e2e

reference: .venv/.reference
	@$(PY) -m pytest -m reference

bench: .venv/.bench
	@$(PY) tests/bench

clean:
	@rm -rf .venv out build dist *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis
	@find . -name __pycache__ -type d -prune -exec rm -rf {} +
