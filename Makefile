# Everything one does here is a target of this file: `make help` lists them.
.PHONY: help setup tools demo serve test test_fast lint bench soak mutants figures migrate examples lock clean
.DEFAULT_GOAL := help
SHELL := /bin/bash

PYTHON ?= python3
BIN := .venv/bin
READY := .venv/ready

help: ## list the targets
	@grep -hE '^[a-z_]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

$(READY): tests/requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or newer is needed: make PYTHON=python3.11 …"; exit 1; }
	@echo "setting up .venv (once)"
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r tests/requirements.lock
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $(READY)

setup: $(READY) ## make the virtual environment

tools: ## install the Debian tools the tests verify with, where that is allowed
	@bash tests/install_tools.sh

demo: $(READY) ## the main job from nothing: servers, service, worker, story, package
	@$(BIN)/route-acceptance demo

serve: $(READY) ## the same stack, kept running, with the demo route and its tokens
	@$(BIN)/route-acceptance serve

JOBS ?= 2

test: $(READY) tools lint ## lint, then every test, against real servers, workers and signatures, in JOBS=2 processes
	@$(BIN)/python -m pytest -n $(JOBS) --dist loadfile --no-loadscope-reorder

test_fast: $(READY) ## the tests that start no server
	@$(BIN)/python -m pytest -m "not slow" --ignore tests/integration

lint: $(READY) ## ruff, mypy, import arrows
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports --no-cache

bench: $(READY) ## the benchmarks, as ratios in one run
	@$(BIN)/python -m tests.benchmarks

RECORDS ?= 20000
KILLS ?= 200

soak: $(READY) ## post RECORDS=20000 while KILLS=200 processes and servers are killed, look at all; SEED=… draws the same again
	@$(BIN)/python -m tests.soak.faults --records $(RECORDS) --kills $(KILLS) $(if $(SEED),--seed $(SEED))

MINUTES ?= 60
SOAK_READY := .venv/soak_ready

$(SOAK_READY): $(READY) tests/soak/requirements.lock
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r tests/soak/requirements.lock
	@touch $(SOAK_READY)

mutants: $(SOAK_READY) ## change the judge at random for MINUTES=60, count what the tests notice; SEED=… draws the same again
	@$(BIN)/python -m tests.soak --minutes $(MINUTES) $(if $(SEED),--seed $(SEED))

ROUTES ?= 300

figures: $(READY) ## how well the judge tells good from bad: ROUTES=300 simulated routes of each geometry, then what people do to papers
	@$(BIN)/python -m tests.acceptance --routes $(ROUTES)
	@$(BIN)/python -m tests.acceptance --people --routes $(ROUTES)

migrate: $(READY) ## bring the database at MIGRATION_DATABASE_URL to the newest schema
	@$(BIN)/route-acceptance migrate

LOCK := uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header \
  --no-emit-index-url --no-emit-find-links pyproject.toml
examples: $(READY) ## write openapi.json and package_schemas.json in openapi_examples/ anew
	@$(BIN)/python -m tests.write_openapi

lock: ## write both lock files anew: what a deployment runs, and what demo and tests need besides (needs uv)
	@$(LOCK) --extra build -o requirements.lock
	@$(LOCK) --extra dev --constraint requirements.lock -o tests/requirements.lock
	@$(LOCK) --extra soak --constraint tests/requirements.lock -o tests/soak/requirements.lock

clean: ## remove what the targets made
	@rm -rf .venv demo_output bench_output build *.egg-info
