# `make run` and `make test` are the two commands; the rest is for people who change Ebbmark.
.PHONY: run test test-pg test-web lint bench soak pins clean

BIN := .venv/bin
# Another Python for a new .venv: make test PYTHON=/path/to/python3
export PYTHON

# Processes that tests and the service start find compiled what they import; it is kept in __pycache__ even where the
# environment says otherwise, as it does in many images of build machines.
unexport PYTHONDONTWRITEBYTECODE

# The demo coast: prints its best windows of the coming two weeks, then serves them on port 8321.
# Keys are dropped here and nowhere else; only this machine is answered.
run:
	@.ci/environment run
	@EBBMARK_AUTH=open exec $(BIN)/ebbmark serve --demo

# Options for pytest: make test ARGS="tests/house -k sizes"
test:
	@.ci/environment dev
	$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder $(ARGS)

# The tests of the service and of its migrations once more, on PostgreSQL: on a private cluster that is made and
# removed, or on the database that EBBMARK_TEST_DATABASE_URL names (its role may create databases and roles).
# What is imported when, and what only computes and draws, is the same on both.
PG_TESTS = tests/postgres tests/service tests/faults $(foreach name,imports mark_charts spreading negotiation series \
	exports peg_plans hazards now filters shore instants settings,--ignore=tests/service/test_$(name).py)
PG_TESTS += --deselect tests/faults/test_kills.py::test_a_plan_outlives_kills_of_its_server
test-pg:
	@.ci/environment dev
	$(BIN)/python -m tests.postgres $(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder $(or $(ARGS),$(PG_TESTS))

# The contract as others read it: linted, made into TypeScript that compiles, compared with the last release. The page of
# sessions, used in a Chromium where there is one.
test-web:
	@.ci/environment dev
	@.ci/web
	$(BIN)/python -m pytest tests/web $(ARGS)

lint:
	@.ci/environment dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache

# Prints ratios against a peer in the same run and writes .bench/latest.json. Two variables that tune the
# linear algebra for one machine are dropped, so that figures mean the same everywhere.
bench:
	@.ci/environment dev
	env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE $(BIN)/python -m tests.benchmarks $(ARGS)

# Long runs that are no tests: make soak ARGS=isolation_timing
soak:
	@.ci/environment dev
	$(BIN)/python -m tests.soak $(ARGS)

# Resolve the pins again, for every Python >= 3.11 at once; versions move only with ARGS=--upgrade.
COMPILE = uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-annotate --no-header
BUILD_NEEDS = $(BIN)/python -c 'import tomllib; print(*tomllib.load(open("pyproject.toml", "rb"))["build-system"]["requires"], sep="\n")'
pins:
	@command -v uv >/dev/null || { echo "make pins needs uv (a Python package resolver) on the PATH; it is not installed" >&2; exit 1; }
	@.ci/environment run
	$(BUILD_NEEDS) | $(COMPILE) $(ARGS) --extra service --extra netcdf --extra postgres --extra charts pyproject.toml - -o requirements.txt
	$(BUILD_NEEDS) | $(COMPILE) $(ARGS) --extra dev -c requirements.txt pyproject.toml - -o requirements-dev.txt

# What can be made again. The store .ebbmark/ is never touched.
clean:
	rm -rf .venv .bench .web build dist *.egg-info .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
