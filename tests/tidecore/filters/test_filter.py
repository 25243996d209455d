"""Filters: three values, types, faults with their places, and what is refused before it is parsed."""

from __future__ import annotations

import json
import pickle
import random
import re
import subprocess
import sys
from contextlib import suppress

import cql2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.house.tree import ROOT
from tests.tidecore.filters.agreement import disagreements
from tests.tidecore.filters.expressions import columns_of, condition, rows, text_of
from tidecore.errors import InvalidFilter, InvalidInput
from tidecore.filters import Filter, queryables
from tidecore.filters.guard import MOST_CHARACTERS, MOST_LEVELS
from tidecore.filters.texts import like
from tidecore.timeline import factors

TABLE = {
    "height": np.array([1.0, 2.0, np.nan, np.inf]),
    "rate": np.array([0.0, 1.0, 2.0, -1.0]),
    "direction": np.array(["ebb", "flood", "", "slack"]),
    "flow_reliable": np.array([1, 0, -1, 1], dtype=np.int8),
    "time": np.array(["2026-06-01", "2026-06-01T23:59:59.999999", "2026-06-02", "2026-06-03"], dtype="datetime64[us]"),
}


def mask(text):
    return Filter.parse(text).mask(TABLE).tolist()


def faults(given, **options):
    with pytest.raises(InvalidFilter) as caught:
        Filter.parse(given, **options)
    return caught.value


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("height > 1", [0, 1, -1, -1]),
        ("NOT height > 1", [1, 0, -1, -1]),
        ("height IS NULL", [0, 0, 1, 1]),
        ("height > 1 AND FALSE", [0, 0, 0, 0]),
        ("height > 1 OR TRUE", [1, 1, 1, 1]),
        ("height > 1 AND rate = 2", [0, 0, -1, 0]),
        ("height > 1 OR rate = 2", [0, 1, 1, -1]),
        ("direction <> 'ebb'", [0, 1, -1, 1]),
        ("NOT direction IN ('ebb', 'slack')", [0, 1, -1, 0]),
        ("direction IS NULL", [0, 0, 1, 0]),
        ("flow_reliable", [1, 0, -1, 1]),
        ("NOT flow_reliable", [0, 1, -1, 0]),
        ("flow_reliable = FALSE", [0, 1, -1, 0]),
        ("(rate > 0) = flow_reliable", [0, 0, -1, 0]),
        ("1 / rate > 0", [-1, 1, 1, 0]),
        ("rate ^ 0.5 >= 0", [1, 1, 1, -1]),
        ("10 ^ (rate * 400) > 0", [1, -1, -1, 0]),
        ("height ^ 0 = 1", [1, 1, -1, -1]),
        ("-7 div 2 = -3 AND -7 % 2 = -1", [1, 1, 1, 1]),
        ("CASEI(direction) = CASEI('EBB')", [1, 0, -1, 0]),
        ("time = DATE('2026-06-01')", [1, 1, 0, 0]),
        ("time > DATE('2026-06-01')", [0, 0, 1, 1]),
        ("DATE('2026-06-02') <= time", [0, 0, 1, 1]),
        ("time < TIMESTAMP('2026-06-02T00:00:00Z')", [1, 1, 0, 0]),
        ("T_DURING(time, INTERVAL('2026-06-01','2026-06-02'))", [0, 1, 1, 0]),
        ("T_CONTAINS(INTERVAL('2026-06-01','2026-06-02'), time)", [0, 1, 1, 0]),
        ("T_AFTER(time, INTERVAL('..', '2026-06-01'))", [0, 0, 1, 1]),
        ("T_STARTS(time, INTERVAL('2026-06-02', '..'))", [0, 0, 1, 0]),
    ],
)
def test_three_values(text, expected):
    assert mask(text) == expected


@pytest.mark.parametrize(
    ("text", "position", "problem", "expected"),
    [
        ("rate > 0 AND sea > 1", 14, "there is no column 'sea'", "sea_temperature, or another of: time, height"),
        ("height = 'x'", 1, "height is a number in m, and 'x' is a text", "two numbers"),
        ("direction = 'down'", 1, "direction is never 'down'", "'flood', 'ebb', 'slack'"),
        ("direction > 'ebb'", 1, "> cannot compare", "no order"),
        ("time > '2026-06-01'", 1, "'2026-06-01' is a text", "TIMESTAMP("),
        ("rate + direction > 1", 8, "direction is one of", "numbers on both sides"),
        ("flow_reliable = 1", 1, "flow_reliable is true or false", "two truths"),
        ("height", None, "height is a number in m, where a condition", "a comparison"),
        ("height = NULL", None, "compares with NULL", "IS NULL"),
        ("height > 1e999", 10, "1e999", "a double"),
        ("T_AFTER(time, DATE('2026-02-30'))", None, "'2026-02-30' is no date", "2026-06-01"),
        ("T_METBY(time, INTERVAL('2026-01-01','..'))", None, "T_METBY", "T_AFTER"),
        ("T_DURING(time, DATE('2026-01-01'))", None, "T_DURING", "INTERVAL"),
        ("rate >", 6, "ends too early", "CQL2 text"),
        ("rate > 1 rate", 10, "'rate'", "CQL2 text"),
        ("(rate > 1", 1, "leaves a bracket open", "pairs"),
        ("(rate)(rate) > 1", 7, "read from '(rate) > 1' on", "CQL2 text"),
        ("rate > 1)", 9, "not open", "pairs"),
        ("rate > (1, 2)", 10, "comma", "list"),
        ("rate IN ()", 10, "cannot be read", "CQL2 text"),
        ("rate > 1 AND ()", 14, "nothing between", "expression"),
        ("direction = 'ebb", 13, "leaves a text open", "quotation mark"),
        ("rate > 1; rate", 9, "';'", "CQL2 text"),
        ("rate\x00 > 1", 5, "control character U+0000", "without any"),
        ("rate\ud800 > 1", 5, "surrogate", "Unicode"),
        ("   ", None, "is empty", "flow_strength"),
        ("rate > 1 OR " * 200 + "rate > 1", None, "characters", str(MOST_CHARACTERS)),
        ('"#1" > 1', 1, "#1", "column"),
    ],
)
def test_a_fault_is_said_with_its_place(text, position, problem, expected):
    error = faults(text)
    assert error.position == position
    assert error.faults[0].field == "filter"
    assert problem in error.faults[0].problem
    assert expected in error.faults[0].expected
    assert pickle.loads(pickle.dumps(error)).position == position


def test_all_faults_are_said_at_once():
    found = faults("sea > 1 AND direction = 'down' OR NOT (height = 'x')").faults
    assert [fault.problem.split(" ")[0] for fault in found] == ["there", "direction", "height"]


@pytest.mark.parametrize(
    ("document", "field", "problem"),
    [
        ({"op": ">", "args": [{"property": "sea"}, 1]}, "filter.args.0.property", "'sea'"),
        ({"op": "and", "args": [True, {"op": "avg", "args": [1]}]}, "filter.args.1", "no such operator"),
        ({"op": "s_within", "args": [1, 2]}, "filter", "no spatial"),
        ({"op": ">", "args": [1]}, "filter.args", "1 operands"),
        ({"op": ">"}, "filter", "no expression"),
        ({"op": "in", "args": [{"property": "rate"}, []]}, "filter.args.1", "no list"),
        ({"op": "=", "args": [{"property": "rate"}, [1]]}, "filter.args.1", "a list"),
        ({"op": "=", "args": [{"property": "rate"}, 10**400]}, "filter.args.1", "the number"),
        ({"date": "2026-06-01"}, "filter", "a date"),
        ({"op": "=", "args": [{"property": "rate"}, float("nan")]}, "filter", "no JSON"),
        (7, "filter", "neither a text nor an object"),
        (None, "filter", "neither a text nor an object"),
    ],
)
def test_a_fault_of_json_is_said_with_its_path(document, field, problem):
    fault = faults(document).faults[0]
    assert (fault.field, problem in fault.problem) == (field, True), fault


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('{"op":', "is no JSON"),
        ('{"op": "=", "op": "<", "args": [1, 2]}', "a name twice"),
        ('{"op": "=", "args": [NaN, 1]}', "NaN"),
        ("[" * 900 + "]" * 900, "nested too deep"),
        ('{"op":"not","args":[' * 90 + "true" + "]}" * 90, "nested too deep"),
        ("rate > 1", "is no JSON"),
    ],
)
def test_json_as_text_is_looked_at_first(text, problem):
    assert problem in str(faults(text, language="cql2-json"))


def test_a_document_may_be_deep_and_is_refused():
    document: object = True
    for _ in range(5000):
        document = {"op": "not", "args": [document]}
    assert "nested too deep" in str(faults(document))


@pytest.mark.parametrize(
    "text",
    [
        "(" * 900 + "rate > 1" + ")" * 900,
        "NOT (" * 300 + "rate > 1" + ")" * 300,
        "NOT " * 490 + "rate > 1",
        "-" * 1900 + "rate > 1",
        "rate" + " + 1" * 480 + " > 1",
        "rate IN (" * 150 + "1" + ")" * 150,
    ],
)
def test_what_is_nested_deep_is_refused(text):
    assert any(word in str(faults(text)) for word in ("too deep", "in a row"))


def test_brackets_may_be_as_deep_as_is_said():
    assert mask("(" * MOST_LEVELS + "height > 1" + ")" * MOST_LEVELS) == [0, 1, -1, -1]
    assert "too deep" in str(faults("(" * (MOST_LEVELS + 1) + "height > 1" + ")" * (MOST_LEVELS + 1)))


def test_brackets_in_a_text_are_no_brackets():
    assert mask("direction LIKE '" + "(" * 100 + "%'") == [0, 0, -1, 0]


def test_every_factor_may_be_named_and_the_time():
    found = queryables()
    assert list(found) == ["time", *factors()]
    for name, column in found.items():
        assert Filter.parse(f"{name} IS NULL").names == (() if column.kind == "time" else (name,))


def test_it_says_what_it_reads():
    one = Filter.parse("rate > height OR time > DATE('2026-06-01') AND light = 'night' AND flow_reliable")
    assert set(one.names) == {"rate", "height", "time", "light", "flow_reliable"}
    assert set(one.factor_names) == set(one.names) - {"time"}
    assert one.instants_us.tolist() == [int(np.datetime64("2026-06-02", "us").astype(int))]
    assert pickle.loads(pickle.dumps(one)).canonical == Filter.parse(json.loads(one.canonical)).canonical
    with pytest.raises(InvalidInput, match=r"columns\.light"):
        one.mask({name: TABLE[name] for name in ("rate", "height", "time", "flow_reliable")})


@given(st.text(max_size=200))
def test_any_text_is_a_filter_or_refused(text):
    with suppress(InvalidFilter):
        assert set(mask(text)) <= {-1, 0, 1}


_SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12)
_OPERATORS = st.sampled_from(
    ["and", "or", "not", "=", "<", "in", "between", "like", "isNull", "casei", "+", "div", "^", "x"]
)


def _expressions(inside):
    args = st.lists(inside, max_size=4)
    return (
        args
        | st.dictionaries(st.text(max_size=4), inside, max_size=2)
        | st.builds(lambda op, parts: {"op": op, "args": parts}, _OPERATORS, args)
    )


_LEAVES = _SCALARS | st.builds(lambda name: {"property": name}, st.sampled_from(["height", "direction", "time", "sea"]))


@given(st.recursive(_LEAVES, _expressions, max_leaves=20))
def test_any_document_is_a_filter_or_refused(document):
    with suppress(InvalidFilter):
        assert set(Filter.parse(document).mask(TABLE).tolist()) <= {-1, 0, 1}


def test_a_pattern_takes_no_longer_than_its_length():
    assert not like("%_" * 500 + "x")("astronomical_twilight" * 20)
    assert like(r"a\%b%")("a%bc")
    assert not like(r"a\%b%")("axbc")


def test_random_filters_agree_with_a_second_evaluator():
    found, worths = disagreements(seed=11, count=1000)
    assert found == []
    assert min(worths.values()) > 3000


def test_known_rows_agree_with_the_evaluator_of_the_parser():
    chance, compared = random.Random(5), 0
    while compared < 300:
        text = text_of(condition(chance, 2))
        # Of times, of division and of lists with columns in them it has ideas of its own.
        listed = re.search(r"IN \([^')]*[a-z_]", text)
        if listed or "time" in text or "NULL" in text or any(sign in text for sign in ("/", "^", "%", "DIV")):
            continue
        table = [row for row in rows(chance, 60) if None not in row.values()][:3]
        if not table:
            continue
        compared += 1
        one = cql2.parse_text(text)
        plain = [{name: value for name, value in row.items() if name != "time"} for row in table]
        assert [one.matches(row) for row in plain] == Filter.parse(text).holds(columns_of(table)).tolist(), text


def test_no_input_kills_or_takes_long():
    command = [sys.executable, "-m", "tests.tidecore.filters.fuzz", "7", "2000"]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]
    said = json.loads(ran.stdout)
    assert said["worst_ms"] < 50.0, said
    assert said["taken"] > 0 < said["refused"]
