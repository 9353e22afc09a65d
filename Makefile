# Two commands do all the set-up on a fresh machine: `make demo` and `make test`.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
WORKERS ?= 2
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check

.PHONY: demo test check wheel oldest fuzz bench handbook lock audit clean

# Byte code is written at the first run, of what it imports only: 170 MB less.
$(VENV)/.ready: pyproject.toml locks/run.txt
	$(PYTHON) -m venv $(VENV)
	$(PIP) --no-compile --require-hashes -r locks/run.txt
	$(PIP) --no-compile --no-deps --no-build-isolation -e .
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

# What pip would install elsewhere: the built wheel with the pinned packages, in a new environment.
wheel: handbook locks/run.txt  ## build the wheel with the handbook, install it in a clean environment, run a small demo
	rm -rf build/wheel
	$(PYTHON) -m venv build/wheel/env
	build/wheel/env/bin/python -m pip install --quiet --disable-pip-version-check --no-compile \
		--require-hashes -r locks/run.txt
	build/wheel/env/bin/python -m pip wheel --quiet --disable-pip-version-check --no-deps \
		--no-build-isolation -w build/wheel .
	build/wheel/env/bin/python -m pip install --quiet --disable-pip-version-check --no-deps \
		build/wheel/riskmap-*.whl
	cd build/wheel && env/bin/riskmap demo --quiet --parcels 100 && test -s demo_result/run.json \
		&& env/bin/riskmap handbook
	rm -rf riskmap/handbook  # the checks of the code read all that lies in the package

oldest:  ## the oldest versions that pyproject.toml allows, in their own environment: a small demo
	rm -rf build/oldest
	$(PYTHON) -m venv build/oldest/env
	build/oldest/env/bin/python -m pip install --quiet --disable-pip-version-check uv
	build/oldest/env/bin/uv pip install --quiet --python build/oldest/env/bin/python \
		--resolution lowest-direct .
	cd build/oldest && env/bin/riskmap demo --quiet --parcels 100 && test -s demo_result/run.json

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
