# make demo   a show of our own invention, loaded and served (ARGS=--once: load, build its PDFs, print, exit)
# make test   every test that this machine can run, and which it cannot
# make lint types fix bench lock serve
# The first Python that really starts (a name on the path may be an empty shell) and is new enough.
PYTHON ?= $(shell for p in python3 python3.13 python3.12 python3.11; do \
	$$p -c 'import sys, venv; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1 && { echo $$p; break; }; done)
VENV ?= .venv
BIN := $(VENV)/bin
ARGS ?=
export PYTHONDONTWRITEBYTECODE ?= 1

.PHONY: demo serve test lint types fix bench lock openapi clean

$(VENV)/ready: requirements.txt
	@test -n "$(PYTHON)" || { echo "Markbook needs Python 3.11 or newer with venv. Install it, or name it: make PYTHON=..."; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	@touch $@

$(VENV)/ready-dev: requirements-dev.txt $(VENV)/ready
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.txt
	@touch $@

demo: $(VENV)/ready
	$(BIN)/python manage.py migrate --verbosity 0
	$(BIN)/python manage.py demo $(ARGS)

serve: $(VENV)/ready
	$(BIN)/python manage.py migrate --verbosity 0
	$(BIN)/python manage.py serve $(ARGS)

test: $(VENV)/ready-dev
	$(BIN)/python tests/run.py $(ARGS)

lint: $(VENV)/ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/lint-imports --no-logo
	$(BIN)/python manage.py makemigrations --check --dry-run --verbosity 0

types: $(VENV)/ready-dev
	$(BIN)/mypy scoring riders competitions reports config

fix: $(VENV)/ready-dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(VENV)/ready-dev
	$(BIN)/python tests/benchmarks/run.py $(ARGS)

openapi: $(VENV)/ready-dev
	$(BIN)/python manage.py spectacular --validate --fail-on-warn --file config/api/openapi.yaml

lock:
	uv pip compile --quiet --no-config --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header requirements.in -o requirements.txt
	uv pip compile --quiet --no-config --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header requirements-dev.in -o requirements-dev.txt

clean:
	rm -rf $(VENV) var .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis
