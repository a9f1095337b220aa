# One file of commands: set-up, demo, tests, lint, benchmarks. `.ci/run` calls the same ones.
SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
OUT ?= out/demo
PAGE := src/palletwright/page/static/index.html
MODULES := web/node_modules/.ready
WEB := $(filter-out web/node_modules/%,$(wildcard web/*.* web/src/* web/public/*))

.PHONY: help setup demo test lint bench clean

help:
	@echo "make setup   everything into $(VENV), system packages where they are missing"
	@echo "make demo    plan the shipped example into $(OUT)"
	@echo "make test    all tests"
	@echo "make lint    ruff and mypy"
	@echo "make bench   measure; BENCH=name for one of benchmarks/"

setup: $(READY) $(PAGE)

$(READY): pyproject.toml constraints.txt .ci/system-packages
	.ci/system-packages $(PYTHON)
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[dev,cluster]'
	@.ci/independent-reader || true
	@if test -f src/palletwright/warm.py; then echo "compiling kernels"; $(BIN)/python -m palletwright.warm; fi
	@touch $(READY)

$(MODULES): web/package.json web/package-lock.json
	@node -e 'const [a, b] = process.versions.node.split("."); process.exit(a > 20 || (a == 20 && b >= 19) ? 0 : 1)' || { echo "The page is built with Node 20.19 or newer and npm. Please install them, then run make setup again." >&2; exit 1; }
	cd web && npm ci --silent --no-fund --no-audit
	@touch $(MODULES)

$(PAGE): $(MODULES) $(WEB)
	@echo "building the page"
	cd web && npm run --silent build >/dev/null
	@touch $(PAGE)

demo: setup
	$(BIN)/palletwright demo --out $(OUT)

test: setup
	cd web && npm run --silent test
	$(BIN)/python -m pytest -n 2 $(ARGS)

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: setup
	$(BIN)/python -m benchmarks $(BENCH)

clean:
	rm -rf out build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
