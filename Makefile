# Two commands do all the set-up on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
WORKERS ?= 2

.PHONY: demo test check fuzz bench clean

$(VENV)/.ready: pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e .
	touch $@

$(VENV)/.ready-test: $(VENV)/.ready
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".[test,dev]"
	touch $@

demo: $(VENV)/.ready  ## make the sample region and run the main job on it
	$(BIN)/riskmap demo --out demo_result

test: $(VENV)/.ready-test  ## run all tests
	$(BIN)/python -m pytest -n $(WORKERS) -q

check: $(VENV)/.ready-test  ## lint, format and type checks
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

fuzz: $(VENV)/.ready-test  ## read 50,000 damaged files; `make test` reads 4,000
	FUZZ_TIMES=13 $(BIN)/python -m pytest -n $(WORKERS) -q -m fuzz

bench: $(VENV)/.ready-test  ## side-by-side timings; see benchmarks/README.md
	$(BIN)/python -m benchmarks.compare

clean:
	rm -rf $(VENV) demo_county demo_result build dist *.egg-info
