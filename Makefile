# Everything a newcomer needs: `make demo`, `make test`. See CONTRIBUTING.md for the rest.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
PIP    := $(BIN)/python -m pip --disable-pip-version-check --quiet

.PHONY: demo test chromium postgresql check format lint types layers docs bench fuzz fuzz-api screenshots validate lock clean

demo: $(VENV)/runtime.stamp
	@if [ -e quintain-demo ]; then echo "quintain-demo is there already; remove it to make it anew."; \
	else $(BIN)/quintain demo quintain-demo; fi
	@echo "From this folder that is: $(BIN)/quintain serve quintain-demo/lab"

test: check chromium postgresql
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --dist loadfile

# The tests of the app in the browser run in Debian's Chromium; without it they are skipped.
chromium:
	@command -v chromium >/dev/null || { \
		command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ] && apt-get update -qq && \
		DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium; } || \
		echo "Tests in a browser are skipped: install chromium, on Debian with: sudo apt-get install chromium"

# The tests of a lab on a database server start one of their own; without its programs they are skipped.
postgresql:
	@ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || command -v initdb >/dev/null || { \
		command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ] && apt-get update -qq && \
		DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends postgresql; } || \
		echo "Tests on PostgreSQL are skipped: install it, on Debian with: sudo apt-get install postgresql"

check: format lint types layers docs

format: $(VENV)/dev.stamp
	$(BIN)/ruff format --check .

lint: $(VENV)/dev.stamp
	$(BIN)/ruff check .

types: $(VENV)/dev.stamp
	$(BIN)/mypy

layers: $(VENV)/dev.stamp
	$(BIN)/lint-imports --no-cache

docs: $(VENV)/dev.stamp
	$(BIN)/sphinx-build -W --keep-going -q -b html docs docs/_build/html

bench: $(VENV)/dev.stamp
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m bench

# Damages files of every format for some minutes, e.g. `make fuzz MINUTES=10`.
fuzz: $(VENV)/dev.stamp
	$(BIN)/python -m bench.fuzz_readers $(or $(MINUTES),3)

# Asks the HTTP interface everything its description allows and forbids, e.g. `make fuzz-api MINUTES=10`.
fuzz-api: $(VENV)/dev.stamp
	$(BIN)/python -m bench.fuzz_api $(or $(MINUTES),3)

# Takes the pictures of the app for README and documentation anew, from the invented lab.
screenshots: $(VENV)/dev.stamp chromium
	$(BIN)/python docs/screenshots.py

validate: $(VENV)/dev.stamp
	$(BIN)/python -m bench.validate
	$(BIN)/python -m bench.validate_drops
	$(BIN)/python -m bench.validate_taps
	$(BIN)/python -m bench.validate_speed
	$(BIN)/python -m bench.validate_limb
	$(BIN)/python -m bench.validate_shared
	$(BIN)/python -m bench.validate_contact

# Rewrites the locks; needs uv on the path.
lock:
	uv pip compile --quiet --universal --generate-hashes --python-version 3.11 --no-header \
		pyproject.toml requirements/build.in -o requirements/runtime.txt
	uv pip compile --quiet --universal --generate-hashes --python-version 3.11 --no-header --all-extras \
		pyproject.toml requirements/build.in requirements/dev.in -c requirements/runtime.txt -o requirements/dev.txt

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/runtime.stamp: requirements/runtime.txt pyproject.toml | $(VENV)/bin/python
	$(PIP) install --require-hashes -r requirements/runtime.txt
	$(PIP) install --no-deps --no-build-isolation -e .
	touch $@

$(VENV)/dev.stamp: requirements/dev.txt $(VENV)/runtime.stamp
	$(PIP) install --require-hashes -r requirements/dev.txt
	touch $@

clean:
	rm -rf $(VENV) docs/_build .mypy_cache .ruff_cache .hypothesis quintain-demo
