# Two commands do all the set-up on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
WORKERS ?= 2
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: demo test check fuzz bench handbook lock audit clean

$(VENV)/.ready: pyproject.toml locks/run.txt
	$(PYTHON) -m venv $(VENV)
	$(PIP) --require-hashes -r locks/run.txt
	$(PIP) --no-deps --no-build-isolation -e .
	touch $@

$(VENV)/.ready-test: $(VENV)/.ready locks/test.txt
	$(PIP) --require-hashes -r locks/test.txt
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

handbook: $(VENV)/.ready-test  ## build the handbook into the package: riskmap/handbook/index.html
	$(BIN)/python -m docs.site.build riskmap/handbook

# The oldest Python that every pinned package takes.
LOCK := uv pip compile --quiet --universal --python-version 3.11.5 --generate-hashes \
	--no-emit-index-url --no-header --no-annotate

lock: $(VENV)/.ready-test  ## pin every package that is installed, with its hashes
	$(PIP) uv
	printf 'setuptools>=77\n' | $(BIN)/$(LOCK) --extra test --extra dev --extra docs -o locks/test.txt pyproject.toml -
	printf 'setuptools>=77\n' | $(BIN)/$(LOCK) -c locks/test.txt -o locks/run.txt pyproject.toml -

audit: $(VENV)/.ready  ## hold the pinned packages against known weaknesses (needs a network)
	$(PIP) pip-audit
	$(BIN)/pip-audit --disable-pip --require-hashes -r locks/run.txt -r locks/test.txt

clean:
	rm -rf $(VENV) demo_county demo_result build dist *.egg-info
