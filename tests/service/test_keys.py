"""Keys: made, kept as a hash, asked for at the door, good for what they say and no longer than they say."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from sqlalchemy import event, inspect

from service.errors import DocumentInvalid, KeyInvalid, KeyMalformed, KeyNeeded, NotFound
from service.security import ADMIN, LOCAL_ACCOUNT, READ, SCOPES, WRITE, Caller, key_of, new_key
from service.usecases.accounts import create_account, list_accounts
from service.usecases.documents import Documents
from service.usecases.keys import authenticate, create_key, has_usable_key, list_keys, revoke_key
from tests.postgres.stores import behind
from tests.service.coast import SPAN, example
from tests.service.holders import Clock, context_of, keyed_client, make_holder
from tests.service.problems import problem

CHALLENGE = 'Bearer realm="ebbmark"'
KEY = "ebk_" + "a" * 10 + "_" + "b" * 32


def header(value: str) -> tuple[bytes, bytes]:
    return (b"authorization", value.encode())


# What a key is.


def test_a_key_has_a_shown_part_and_a_secret_of_160_bits():
    keys = [new_key() for _ in range(50)]
    for key in keys:
        assert re.fullmatch(r"ebk_[0-9a-hjkmnp-z]{10}_[0-9a-hjkmnp-tv-z]{32}", key.text)  # 32 letters of 5 bits
        assert key.secret not in repr(key)
    assert len({key.prefix for key in keys}) == len({key.secret for key in keys}) == 50
    assert keys[0].fits(keys[0].secret_hash)
    assert not keys[0].fits(keys[1].secret_hash)


def test_the_hash_is_sha_256():
    # FIPS 180-2, appendix B.1: the digest of "abc".
    from service.security import Key

    assert Key("p", "abc").secret_hash == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.mark.parametrize("value", [f"Bearer {KEY}", f"bearer  {KEY} ", f"BEARER {KEY}"])
def test_a_key_is_read_from_its_header(value):
    assert key_of([(b"accept", b"*/*"), header(value)]).text == KEY


@pytest.mark.parametrize("headers", [[], [header("")], [header(f"Basic {KEY}")], [header(KEY)], [(b"x-api-key", b"k")]])
def test_a_request_without_a_key_is_told_how_to_send_one(headers):
    with pytest.raises(KeyNeeded, match="Authorization: Bearer ebk_"):
        key_of(headers)


@pytest.mark.parametrize(
    "headers",
    [
        [header("Bearer")],
        [header("Bearer sesame")],
        [header(f"Bearer {KEY}x")],
        [header(f"Bearer {KEY[:-1]}")],
        [header(f"Bearer {KEY.upper()}")],
        [header(f"Bearer {KEY} {KEY}")],
        [header(f"Bearer {KEY},{KEY}")],
        [header("Bearer ebk_\xe9")],
        [header(f"Bearer {KEY}"), header(f"Bearer {KEY}")],
    ],
)
def test_what_has_not_the_form_of_a_key_is_refused_without_being_repeated(headers):
    with pytest.raises(KeyMalformed) as refused:
        key_of(headers)
    assert "bbbb" not in str(refused.value)
    assert "sesame" not in str(refused.value)


def test_admin_implies_every_scope_and_no_other_implies_one():
    assert all(Caller("acc_1", frozenset({ADMIN})).may(scope) for scope in SCOPES)
    assert [scope for scope in SCOPES if Caller("acc_1", frozenset({WRITE})).may(scope)] == [WRITE]
    assert not any(Caller("acc_1").may(scope) for scope in SCOPES)


# Made, listed and revoked.


def test_a_key_is_kept_as_prefix_and_hash(house, tmp_path):
    made = create_key(house.context, LOCAL_ACCOUNT, ["write", "read", "read"], name=" boat ", expires_at=None)
    assert list_keys(house.context) == [made.record]
    assert (made.record.name, made.record.scopes) == ("boat", frozenset({READ, WRITE}))
    with house.store.across_accounts() as unit:
        holder = unit.keys.holder(made.key.prefix)
    assert holder is not None
    assert holder.secret_hash == made.key.secret_hash
    with behind(house.store.engine) as connection:
        (row,) = connection.exec_driver_sql("SELECT * FROM api_keys").fetchall()
    assert made.key.secret not in str(row)
    house.store.close()
    for path in (tmp_path / "store").glob("ebbmark.sqlite3*"):
        assert made.key.secret.encode() not in path.read_bytes()


def test_a_caller_is_known_by_its_key(house):
    one = make_holder(house.context, "read", "write")
    caller = authenticate(house.context, key_of([header(f"Bearer {one.key}")]))
    assert caller == Caller(one.account_id, frozenset({READ, WRITE}), one.key_id)


def test_a_prefix_without_the_secret_opens_nothing(house):
    one = make_holder(house.context, "read")
    mine = key_of([header(f"Bearer {one.key}")])
    with pytest.raises(KeyInvalid):
        authenticate(house.context, type(mine)(mine.prefix, "b" * 32))


def test_accounts_are_listed_with_the_local_one(house):
    made = create_account(house.context, " Example Anglers ")
    assert made.account_id.startswith("acc_")
    assert [account.name for account in list_accounts(house.context)] == ["local", "Example Anglers"]


@pytest.mark.parametrize("name", ["", "  ", "x" * 201, "a\nb", "\x00"])
def test_a_name_that_is_none_is_refused(house, name):
    with pytest.raises(DocumentInvalid, match="name"):
        create_account(house.context, name)
    with pytest.raises(DocumentInvalid, match="name"):
        create_key(house.context, LOCAL_ACCOUNT, ["read"], name=name, expires_at=None)


def test_faults_of_a_key_are_named_together(house):
    with pytest.raises(DocumentInvalid, match=r"scope.*expires"):
        create_key(house.context, LOCAL_ACCOUNT, ["sail"], name="k", expires_at=house.context.clock())
    with pytest.raises(DocumentInvalid, match="scope: is not given"):
        create_key(house.context, LOCAL_ACCOUNT, [], name="k", expires_at=None)
    assert list_keys(house.context) == []


def test_what_is_not_there_is_named(house):
    with pytest.raises(NotFound, match="ebbmark accounts list"):
        create_key(house.context, "acc_0", ["read"], name="k", expires_at=None)
    with pytest.raises(NotFound, match="ebbmark accounts list"):
        list_keys(house.context, "acc_0")
    with pytest.raises(NotFound, match="ebbmark keys list"):
        revoke_key(house.context, "key_0")


def test_a_key_is_revoked_once_and_stays_so(tmp_path):
    clock = Clock()
    with keyed_client(tmp_path, clock) as client:
        context = context_of(client)
        one = make_holder(context, "read")
        assert has_usable_key(context)
        first = revoke_key(context, one.key_id)
        clock.pass_by(60.0)
        assert revoke_key(context, one.key_id) == first
        assert first.revoked_at == clock.now - timedelta(seconds=60)
        assert not has_usable_key(context)


def test_an_expired_key_is_no_usable_one(house):
    soon = house.context.clock() + timedelta(seconds=60)
    make_holder(house.context, "read", expires_at=soon)
    with house.store.across_accounts() as unit:
        assert unit.keys.any_usable(soon - timedelta(seconds=1))
        assert not unit.keys.any_usable(soon)


def test_a_key_is_found_by_one_indexed_query(house):
    one = make_holder(house.context, "read")
    asked = []
    event.listen(house.store.engine, "before_cursor_execute", lambda *given: asked.append(given[2]))
    authenticate(house.context, key_of([header(f"Bearer {one.key}")]))
    assert [
        statement.count("api_keys.prefix = ") for statement in asked if " FROM " in statement.replace("\n", " ")
    ] == [1]
    unique = inspect(house.store.engine).get_unique_constraints("api_keys")
    assert [one["column_names"] for one in unique] == [["prefix"]]


# At the door.


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def keyed(tmp_path, clock):
    with keyed_client(tmp_path, clock) as client:
        yield client


@pytest.mark.parametrize("path", ["/v1/stations", "/v1/factors", "/v1/nowhere", "/v1", "/v1/", "/v1/healthy"])
def test_a_key_is_asked_for_before_it_is_said_what_is_there(keyed, path):
    response = keyed.get(path)
    problem(response, 401, "key-needed")
    assert response.headers["www-authenticate"] == CHALLENGE
    assert response.headers["cache-control"] == "private, no-cache"
    assert response.headers["x-content-type-options"] == "nosniff"
    head = keyed.head(path)
    assert (head.status_code, head.content) == (401, b"")
    assert head.headers["www-authenticate"] == CHALLENGE
    assert keyed.delete(path).status_code == 401


def test_with_a_key_it_is_said_what_is_there(keyed):
    one = make_holder(context_of(keyed), "read")
    problem(keyed.get("/v1/nowhere", headers=one.headers), 404, "not-found")
    wrong = keyed.put("/v1/factors", headers=one.headers)
    problem(wrong, 405, "method-not-allowed")
    assert wrong.headers["allow"] == "GET, HEAD"


@pytest.mark.parametrize(
    "path", ["/v1/health/live", "/v1/health/versions", "/openapi.json", "/docs", "/redoc", "/problems"]
)
def test_health_and_pages_ask_for_no_key(keyed, path):
    assert keyed.get(path).status_code == 200
    assert keyed.get(path, headers={"authorization": "Bearer sesame"}).status_code == 200


def test_a_body_is_not_read_of_who_may_not_come_in(keyed):
    problem(keyed.post("/v1/stations", content=b"x" * 2_000_000), 401, "key-needed")
    one = make_holder(context_of(keyed), "read")
    problem(keyed.post("/v1/stations", content=b"x" * 2_000_000, headers=one.headers), 403, "scope-needed")


def test_a_malformed_key_is_said_to_be_one(keyed):
    response = keyed.get("/v1/stations", headers={"authorization": "Bearer sesame"})
    found = problem(response, 401, "key-malformed")
    assert "sesame" not in found["detail"]
    assert response.headers["www-authenticate"] == f'{CHALLENGE}, error="invalid_token"'


def test_unknown_wrong_and_revoked_keys_get_one_answer(keyed, clock):
    context = context_of(keyed)
    good, revoked = make_holder(context, "read"), make_holder(context, "read")
    wrong = good.key[:-32] + revoked.key[-32:]
    expired_too = make_holder(context, "read", expires_at=context.clock() + timedelta(seconds=9))
    revoke_key(context, revoked.key_id)
    revoke_key(context, expired_too.key_id)
    clock.pass_by(10.0)
    answers = []
    for key in (KEY, wrong, revoked.key, expired_too.key):
        response = keyed.get("/v1/stations", headers={"authorization": f"Bearer {key}", "x-request-id": "tide-0001"})
        problem(response, 401, "key-invalid")
        headers = {name: value for name, value in response.headers.items() if name != "date"}
        answers.append((response.content, headers))
    assert answers[0][1]["www-authenticate"] == f'{CHALLENGE}, error="invalid_token"'
    assert answers == [answers[0]] * 4
    assert keyed.get("/v1/stations", headers=good.headers).status_code == 200


def test_expiry_is_told_to_who_has_the_secret_alone(keyed, clock):
    one = make_holder(context_of(keyed), "read", expires_at=clock.now + timedelta(hours=1))
    clock.pass_by(3599.0)
    assert keyed.get("/v1/stations", headers=one.headers).status_code == 200
    clock.pass_by(1.0)
    response = keyed.get("/v1/stations", headers=one.headers)
    assert "2026-06-01T13:00:00Z" in problem(response, 401, "key-expired")["detail"]
    assert response.headers["www-authenticate"] == f'{CHALLENGE}, error="invalid_token"'
    problem(
        keyed.get("/v1/stations", headers={"authorization": f"Bearer {one.key[:-32]}{'b' * 32}"}), 401, "key-invalid"
    )


def test_revocation_acts_at_once(keyed):
    context = context_of(keyed)
    one = make_holder(context, "read")
    assert keyed.get("/v1/stations", headers=one.headers).status_code == 200
    revoke_key(context, one.key_id)
    problem(keyed.get("/v1/stations", headers=one.headers), 401, "key-invalid")


def test_a_request_that_was_let_in_goes_on_to_its_end(keyed, clock, monkeypatch):
    one = make_holder(context_of(keyed), "write", expires_at=clock.now + timedelta(seconds=60))
    create = Documents.create

    def slowly(*arguments):
        clock.pass_by(120.0)
        return create(*arguments)

    monkeypatch.setattr(Documents, "create", slowly)
    body = example("create_species_rule")
    assert keyed.post("/v1/species-rules", json=body, headers=one.headers).status_code == 201
    problem(keyed.post("/v1/species-rules", json=body, headers=one.headers), 401, "key-expired")


def test_a_key_is_good_for_its_scopes(keyed):
    context = context_of(keyed)
    reader = make_holder(context, "read")
    writer = make_holder(context, "write", account_id=reader.account_id)
    admin = make_holder(context, "admin", account_id=reader.account_id)
    body, search = example("create_species_rule"), {"start": SPAN["start"], "end": SPAN["end"]}
    refused = keyed.post("/v1/species-rules", json=body, headers=reader.headers)
    assert problem(refused, 403, "scope-needed")["scope"] == "write"
    assert refused.headers["www-authenticate"] == f'{CHALLENGE}, error="insufficient_scope", scope="write"'
    made = keyed.post("/v1/species-rules", json=body, headers=writer.headers)
    assert made.status_code == 201
    refused = keyed.get(made.headers["location"], headers=writer.headers)
    assert problem(refused, 403, "scope-needed")["scope"] == "read"
    problem(keyed.post("/v1/windows/search", json=search, headers=writer.headers), 403, "scope-needed")
    for one in (reader, admin):
        assert keyed.get(made.headers["location"], headers=one.headers).status_code == 200
        assert keyed.head(made.headers["location"], headers=one.headers).status_code == 200
        assert keyed.post("/v1/windows/search", json=search, headers=one.headers).status_code == 200
    again = {**body, "external_ref": "another"}
    assert keyed.post("/v1/species-rules", json=again, headers=admin.headers).status_code == 201


def test_every_operation_asks_for_the_scope_of_the_contract(keyed):
    """Each operation, called with each scope, and with a key that has every other one."""
    context = context_of(keyed)
    account = make_holder(context, "read").account_id
    holders = {scope: make_holder(context, scope, account_id=account) for scope in (READ, WRITE)}
    both = make_holder(context, READ, WRITE, account_id=account)
    contract = keyed.get("/openapi.json").json()
    assert contract["components"]["securitySchemes"]["bearer"]["scheme"] == "bearer"
    seen = set()
    for path, item in contract["paths"].items():
        for method, operation in item.items():
            place = re.sub(r"\{\w+\}", "xyz_0", path)
            needed = [scope for one in operation["security"] for scope in one["bearer"]]
            seen |= {(method, *needed)}
            if path == "/v1/feeds/{token}.ics":
                # The token stands in place of a key.
                assert (needed, keyed.request(method, place).status_code) == ([], 404)
                continue
            if not needed:
                assert path.startswith("/v1/health/")
                assert not {"401", "429"} & set(operation["responses"])
                continue
            assert {"401", "403", "429"} <= set(operation["responses"])
            assert keyed.request(method, place).status_code == 401, (method, path)
            for scope, one in {**holders, "both": both}.items():
                status = keyed.request(method, place, headers=one.headers).status_code
                assert status != 401
                assert (status == 403) is (scope not in (*needed, "both")), (method, path, scope, status)
    assert {("get", READ), ("post", WRITE), ("post", READ)} <= seen


def test_nothing_under_v1_is_served_past_the_guard(keyed):
    """A route that the guard did not look at refuses by itself."""
    from starlette.testclient import TestClient

    unguarded = keyed.app
    unguarded.user_middleware.clear()
    unguarded.middleware_stack = None
    with TestClient(unguarded) as bare:
        for path in ("/v1/stations", "/v1/factors", "/v1/species-rules/schema"):
            assert bare.get(path).status_code == 401, path
        assert bare.post("/v1/windows/search").status_code == 401


# Whether the service is ready.


def test_without_a_usable_key_it_is_not_ready_and_says_what_makes_one(keyed, clock):
    missing = problem(keyed.get("/v1/health/ready"), 503, "not-ready")["missing"]
    assert len(missing) == 1
    assert "`ebbmark keys create --account acc_local --scope read" in missing[0]
    one = make_holder(context_of(keyed), "read", expires_at=clock.now + timedelta(days=1))
    assert keyed.get("/v1/health/ready").json()["checks"]["access"] == "by API key"
    clock.pass_by(86400.0)
    problem(keyed.get("/v1/health/ready"), 503, "not-ready")
    other = make_holder(context_of(keyed), "read", account_id=one.account_id)
    assert keyed.get("/v1/health/ready").status_code == 200
    revoke_key(context_of(keyed), other.key_id)
    problem(keyed.get("/v1/health/ready"), 503, "not-ready")


def test_a_store_that_does_not_answer_is_no_wrong_key(keyed, monkeypatch):
    from service.errors import StoreUnavailable

    one = make_holder(context_of(keyed), "read")

    def gone(*_arguments, **_options):
        raise StoreUnavailable("database is locked")

    monkeypatch.setattr(context_of(keyed).store.__class__, "across_accounts", gone)
    problem(keyed.get("/v1/stations", headers=one.headers), 503, "store-unavailable")
