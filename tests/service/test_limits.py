"""How many requests a key may make, and what is said about it."""

from __future__ import annotations

import re

import pytest

from service.api.limits import MOST_BUCKETS, RateLimiter
from service.settings import DEFAULT_RATE, Settings
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.problems import problem

#: The two fields of the draft, as structured fields (RFC 9651): a list of one string with integers as parameters.
POLICY = re.compile(r'"default";q=(\d+);w=(\d+)')
LEFT = re.compile(r'"default";r=(\d+);t=(\d+)')


@pytest.fixture
def clock():
    return Clock()


def left(response) -> tuple[int, int]:
    found = LEFT.fullmatch(response.headers["ratelimit"])
    assert found, response.headers["ratelimit"]
    return int(found[1]), int(found[2])


def test_a_bucket_empties_and_fills_at_an_even_pace(clock):
    limiter = RateLimiter(30, 3, clock.monotonic)  # one token every 2 s
    assert [limiter.take("a").taken for _ in range(4)] == [True, True, True, False]
    refused = limiter.take("a")
    assert (refused.remaining, refused.retry_after_s, refused.full_in_s) == (0, 2, 6)
    clock.pass_by(1.5)
    assert limiter.take("a").retry_after_s == 1
    clock.pass_by(0.5)
    assert [limiter.take("a").taken for _ in range(2)] == [True, False]
    clock.pass_by(1e6)
    full = limiter.take("a")
    assert (full.taken, full.remaining, full.full_in_s) == (True, 2, 2)


def test_waiting_as_long_as_is_said_is_enough(clock):
    limiter = RateLimiter(7, 2, clock.monotonic)  # a pace that no binary fraction hits
    for _ in range(200):
        allowance = limiter.take("a")
        if not allowance.taken:
            clock.pass_by(allowance.retry_after_s)
            assert limiter.take("a").taken


def test_over_an_hour_no_more_pass_than_the_limit_and_the_burst(clock):
    limiter = RateLimiter(60, 10, clock.monotonic)
    passed = 0
    for _ in range(36_000):
        passed += limiter.take("a").taken
        clock.pass_by(0.1)
    assert passed == 10 + 3599  # the last request comes after 3599.9 s


def test_callers_have_buckets_of_their_own(clock):
    limiter = RateLimiter(60, 1, clock.monotonic)
    assert limiter.take("a").taken
    assert not limiter.take("a").taken
    assert limiter.take("b").taken


def test_the_memory_of_buckets_is_bounded(clock):
    limiter = RateLimiter(60, 1, clock.monotonic, most=100)
    limiter.take("first")
    for number in range(1000):
        limiter.take(f"caller {number}")
        assert not limiter.take("first").taken or number == 0
    assert len(limiter) == 100
    assert MOST_BUCKETS == 10_000


def test_a_clock_that_stands_still_gives_nothing(clock):
    limiter = RateLimiter(6000, 5, clock.monotonic)
    assert sum(limiter.take("a").taken for _ in range(100)) == 5


# Over HTTP.


@pytest.fixture
def limited(tmp_path, clock):
    with keyed_client(tmp_path, clock, rate_limit=30, rate_burst=2) as client:
        yield client


def test_too_many_requests_are_refused_and_told_when_to_come_again(limited, clock):
    one = make_holder(context_of(limited), "read")
    first = limited.get("/v1/factors", headers=one.headers)
    assert first.headers["ratelimit-policy"] == '"default";q=2;w=4'
    assert POLICY.fullmatch(first.headers["ratelimit-policy"])
    assert (first.status_code, left(first)) == (200, (1, 2))
    assert left(limited.get("/v1/nowhere", headers=one.headers)) == (0, 4)
    refused = limited.get("/v1/factors", headers=one.headers)
    found = problem(refused, 429, "too-many-requests")
    assert (found["limit"], found["setting"], found["retry_after_s"]) == (30, "EBBMARK_RATE_LIMIT", 2)
    assert refused.headers["retry-after"] == "2"
    assert left(refused) == (0, 4)
    clock.pass_by(2.0)
    assert limited.get("/v1/factors", headers=one.headers).status_code == 200


def test_the_bucket_is_the_keys(limited):
    context = context_of(limited)
    one = make_holder(context, "read")
    other = make_holder(context, "read", account_id=one.account_id)
    statuses = [limited.get("/v1/factors", headers=one.headers).status_code for _ in range(3)]
    assert statuses == [200, 200, 429]
    assert limited.get("/v1/factors", headers=other.headers).status_code == 200


def test_a_request_refused_for_its_scope_counts_and_one_without_a_key_does_not(limited):
    one = make_holder(context_of(limited), "read")
    refused = limited.post("/v1/stations", headers=one.headers)
    problem(refused, 403, "scope-needed")
    assert left(refused) == (1, 2)
    nameless = limited.get("/v1/stations")
    assert nameless.status_code == 401
    assert "ratelimit" not in nameless.headers
    live = limited.get("/v1/health/live", headers=one.headers)
    assert "ratelimit" not in live.headers


def test_without_a_limit_there_are_no_fields(tmp_path):
    with keyed_client(tmp_path, rate_limit=0) as client:
        one = make_holder(context_of(client), "read")
        for _ in range(5):
            response = client.get("/v1/factors", headers=one.headers)
            assert response.status_code == 200
            assert not {"ratelimit", "ratelimit-policy"} & set(response.headers)


def test_open_mode_has_no_limit_unless_set(serve):
    assert "ratelimit" not in serve().get("/v1/factors").headers
    client = serve(rate_limit=1, rate_burst=1)
    assert client.get("/v1/factors").status_code == 200
    problem(client.get("/v1/factors"), 429, "too-many-requests")
    assert client.get("/v1/health/live").status_code == 200


def test_the_limit_has_a_default_with_keys_alone(monkeypatch):
    assert Settings().requests_per_minute == DEFAULT_RATE
    assert Settings(auth="open").requests_per_minute == 0
    monkeypatch.setenv("EBBMARK_RATE_LIMIT", "0")
    assert Settings().requests_per_minute == 0
    monkeypatch.setenv("EBBMARK_RATE_LIMIT", "12")
    assert Settings(auth="open").requests_per_minute == 12
