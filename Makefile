# make demo   the main job on a simulated car, pictures into demo/
# make test   lint, types, every test, the built wheel in a clean environment
# make quick  the same without what builds wheels, environments and guests
# make bench  the figures, each beside its baseline
# make gallery  the pictures of the pages, the mounting templates and the wiring, drawn anew; look at them
# make fuzz   coverage-guided input for FUZZ_SECONDS (60) each; what fails is kept in .fuzz/
# Each does all its own set-up with python3 (3.11 or newer), python3-venv and make.

PYTHON ?= python3
FUZZ_SECONDS ?= 60
# tests run side by side on this many processors
WORKERS ?= 2
VENV := .venv
BIN := $(VENV)/bin
PYTEST := $(BIN)/python -m pytest -n $(WORKERS) --dist loadfile --no-loadscope-reorder

.PHONY: demo test quick bench gallery fuzz lint clean

demo: $(VENV)/.run
	$(BIN)/underdash demo --speed max --pictures demo --report demo/report.json

test: lint
	$(PYTEST)

quick: lint
	$(PYTEST) -m "not slow"

bench: $(VENV)/.dev
	for figure in tests/benchmarks/[a-z]*.py; do $(BIN)/python $$figure || exit 1; done

gallery: $(VENV)/.dev
	$(BIN)/python tests/gallery.py
	$(BIN)/python tests/element_sheet.py
	$(BIN)/python tests/wiring_pictures.py

fuzz: $(VENV)/.dev
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[fuzz]'
	for script in asking isotp reading; do \
		mkdir -p .fuzz/$$script && $(BIN)/python tests/fuzz/$$script.py .fuzz/$$script -artifact_prefix=.fuzz/ \
			-max_total_time=$(FUZZ_SECONDS) -max_len=400 -len_control=0 -print_final_stats=1 || exit 1; \
	done

lint: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

$(VENV)/.made:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "underdash needs Python 3.11 or newer; found " + sys.version.split()[0])'
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/.run: $(VENV)/.made pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.made pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -e '.[dev]'
	@touch $@ $(VENV)/.run

clean:
	rm -rf $(VENV) demo build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .fuzz
