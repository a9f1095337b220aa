# One file of commands: set-up, demo, tests, lint, benchmarks. `.ci/run` calls the same ones.
SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
OUT ?= out/demo

.PHONY: help setup demo test lint bench clean

help:
	@echo "make setup   everything into $(VENV), system packages where they are missing"
	@echo "make demo    plan the shipped example into $(OUT)"
	@echo "make test    all tests"
	@echo "make lint    ruff and mypy"
	@echo "make bench   measure; BENCH=name for one of benchmarks/"

setup: $(READY)

$(READY): pyproject.toml constraints.txt .ci/system-packages
	.ci/system-packages $(PYTHON)
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[dev,cluster]'
	@if test -f src/palletwright/warm.py; then echo "compiling kernels"; $(BIN)/python -m palletwright.warm; fi
	@touch $(READY)

demo: setup
	$(BIN)/palletwright demo --out $(OUT)

test: setup
	$(BIN)/python -m pytest -n 2 $(ARGS)

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: setup
	$(BIN)/python -m benchmarks $(BENCH)

clean:
	rm -rf out build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
