"""Who writes over HTTP, knows what was acknowledged, and finds out what became of what was not."""

from __future__ import annotations

import http.client
import json
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from random import Random
from typing import Any, Protocol

from tests.service.coast import example

_PATCH = "application/merge-patch+json"
PATHS = {"mark": "/v1/marks", "species_rule": "/v1/species-rules", "trip": "/v1/trips"}
_FISHED = {"start": "2024-06-01T18:00:00Z", "end": "2024-06-01T22:00:00Z", "outcome": "fished"}
_CAUGHT = {
    "at": "2024-06-01T19:00:00Z",
    "species": {"scientific_name": "Gadus morhua", "fao_code": "COD"},
    "fate": "returned",
}
#: What the account calls the mark that all trips are of; no writer touches it.
BEACH = "beach"


@dataclass(frozen=True)
class Answer:
    """An answer that came whole."""

    status: int
    text: str
    etag: str | None


class Sender(Protocol):
    """Whoever sends a request and reads its answer to the end."""

    def send(self, method: str, path: str, body: Any = None, headers: Mapping[str, str] | None = None) -> Answer: ...


class Connection:
    """One connection to the server, kept open."""

    def __init__(self, port: int) -> None:
        self._inner = http.client.HTTPConnection("127.0.0.1", port, timeout=30.0)

    def send(self, method: str, path: str, body: Any = None, headers: Mapping[str, str] | None = None) -> Answer:
        """Send a request and read its answer to the end; OSError or HTTPException if it does not come."""
        content = None if body is None else json.dumps(body).encode()
        stated = {"Content-Type": _PATCH if method == "PATCH" else "application/json"} if content else {}
        self._inner.request(method, path, content, {**stated, **(headers or {})})
        response = self._inner.getresponse()
        text = response.read().decode()
        return Answer(response.status, text, response.headers.get("ETag"))

    def close(self) -> None:
        """Close it."""
        self._inner.close()


@dataclass
class Thing:
    """A mark, a species rule or a trip as its writer was told that it is: the name it has had in each version.

    The name of a trip is that of itself and of its catches, see `name_of`.
    """

    kind: str
    id: str
    etag: str
    key: str
    names: list[str]

    @property
    def version(self) -> int:
        return len(self.names)

    @property
    def path(self) -> str:
        return f"{PATHS[self.kind]}/{self.id}"

    def check(self, item: Mapping[str, Any]) -> None:
        """Fail unless ``item`` says what is known."""
        assert (item["version"], name_of(item)) == (self.version, self.names[-1]), item


@dataclass(frozen=True)
class Write:
    """A write on its way; ``ADD`` adds a catch to a trip."""

    method: str
    kind: str
    name: str
    key: str
    thing: Thing | None

    @property
    def told(self) -> str:
        """The name of the thing once this is done."""
        before = "" if self.thing is None else self.thing.names[-1]
        if self.method == "ADD":
            return f"{before}|{self.name}"
        caught = before.partition("|")[2] if self.method == "PATCH" else ""
        return f"{self.name}|{caught}" if caught else self.name


@dataclass
class Writer:
    """Makes, edits and deletes things of its own, one after the other."""

    number: int
    chance: Random
    station: str
    pending: Write | None = None
    acknowledged: int = 0
    living: list[Thing] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)
    _made: int = 0
    _touched: list[Thing] = field(default_factory=list)

    def write(self, port: int) -> None:
        """Write until the server, or the store behind it, is gone."""
        with closing(Connection(port)) as connection:
            while True:
                try:
                    self.write_once(connection)
                except (OSError, http.client.HTTPException):
                    return

    def write_once(self, connection: Sender) -> None:
        """Do the next write; it stays pending until it is acknowledged."""
        self.pending = write = self.next_write()
        answer = self.send_write(connection, write)
        if write.method == "ADD" and answer.status != 503:
            answer = _trip_after(connection, write, answer, (201,))
        # The store may go between the catch and the trip that is read after it.
        if answer.status == 503:
            raise ConnectionError(answer.text)
        self._settle(write, answer, again=False)
        self.acknowledged += 1
        self.pending = None

    def look_back(self, connection: Sender) -> None:
        """Send again what was not acknowledged, which is then done once; and the last thing made, which was before."""
        if self.pending is not None:
            write, self.pending = self.pending, None
            answer = self.send_write(connection, write)
            if write.method == "ADD":
                answer = _trip_after(connection, write, answer, (201, 412))
            elif write.method in ("PUT", "PATCH") and answer.status == 412:
                # It was done: then it is what is there.
                assert write.thing is not None
                answer = connection.send("GET", write.thing.path)
            self._settle(write, answer, again=True)
        if self.living:
            last = self.living[-1]
            again = self.send_write(connection, Write("POST", last.kind, last.names[0], last.key, None))
            made = json.loads(again.text)
            assert (again.status, made["id"], made["version"]) == (201, last.id, 1), again.text

    def read_versions(self, connection: Sender) -> None:
        """Fail unless the things written since the last time have every version they had, and no other."""
        touched, self._touched = {thing.id: thing for thing in self._touched}, []
        for thing in touched.values():
            if thing.id in self.gone:
                assert connection.send("GET", thing.path).status == 404
                continue
            versions = json.loads(connection.send("GET", f"{thing.path}/versions").text)["items"]
            assert [one["version"] for one in versions] == list(range(1, thing.version + 1)), versions
            for number, name in enumerate(thing.names, 1):
                item = json.loads(connection.send("GET", f"{thing.path}?version={number}").text)
                assert name_of(item) == name, item
            now = connection.send("GET", thing.path)
            assert now.etag == thing.etag, now.text

    def next_write(self) -> Write:
        """Return what is written next."""
        self._made += 1
        name = f"Invented {self.number} {self._made}"
        roll = self.chance.random()
        if not self.living or roll < 0.4:
            return Write("POST", self.chance.choice(sorted(PATHS)), name, f"{self.number}-{self._made}", None)
        thing = self.chance.choice(self.living)
        method = "PUT" if roll < 0.6 else "PATCH" if roll < 0.85 else "DELETE"
        if thing.kind == "trip" and 0.5 <= roll < 0.75:
            method = "ADD"
        return Write(method, thing.kind, name, "", thing)

    def send_write(self, connection: Sender, write: Write) -> Answer:
        """Send a write, the first time or again."""
        if write.thing is None:
            body = self._document(write)
            return connection.send("POST", PATHS[write.kind], body, {"Idempotency-Key": write.key})
        if write.method == "ADD":
            caught = {**_CAUGHT, "notes": write.name}
            return connection.send("POST", f"{write.thing.path}/catches", caught, {"If-Match": write.thing.etag})
        patch = {"trip": {"notes": write.name}} if write.kind == "trip" else {"name": write.name}
        bodies = {"PUT": self._document(write), "PATCH": patch, "DELETE": None}
        return connection.send(write.method, write.thing.path, bodies[write.method], {"If-Match": write.thing.etag})

    def _document(self, write: Write) -> dict[str, Any]:
        if write.kind == "trip":
            return {"trip": {**_FISHED, "mark": BEACH, "notes": write.name}, "external_ref": None}
        document = {**example(f"create_{write.kind}"), "name": write.name, "external_ref": None}
        return {**document, "station": self.station} if write.kind == "mark" else document

    def _settle(self, write: Write, answer: Answer, *, again: bool) -> None:
        """Note what a write has come to; ``again``: it may have been done before."""
        thing = write.thing
        if write.method == "DELETE":
            assert thing is not None
            assert answer.status in ((204, 404) if again else (204,)), answer.text
            self.living.remove(thing)
            self.gone.append(thing.id)
        else:
            assert answer.status == (201 if thing is None else 200), answer.text
            item = json.loads(answer.text)
            assert answer.etag is not None
            if thing is None:
                thing = Thing(write.kind, item["id"], answer.etag, write.key, [write.name])
                self.living.append(thing)
            else:
                thing.names.append(write.told)
                thing.etag = answer.etag
            thing.check(item)
        self._touched.append(thing)


def name_of(item: Mapping[str, Any]) -> str:
    """Return the name in a mark or in a species rule; of a trip its notes, and those of its catches."""
    if "record" in item:
        return "|".join([item["record"]["trip"]["notes"], *(one["notes"] for one in item["record"]["catches"])])
    name: str = item["rule"]["name"] if "rule" in item else item["name"]
    return name


def _trip_after(connection: Sender, write: Write, answer: Answer, right: tuple[int, ...]) -> Answer:
    """Return the trip that a catch was added to, for that was answered with the catch alone."""
    assert answer.status in right, answer.text
    assert write.thing is not None
    return connection.send("GET", write.thing.path)


def read_pages(connection: Sender, path: str) -> Iterator[dict[str, Any]]:
    """Return everything that a list holds."""
    cursor: str | None = ""
    while cursor is not None:
        page = json.loads(connection.send("GET", f"{path}?limit=500" + (f"&cursor={cursor}" if cursor else "")).text)
        yield from page["items"]
        cursor = page["next_cursor"]


def read_changes(connection: Sender) -> Iterator[dict[str, Any]]:
    """Return every change there is."""
    after, more = "", True
    while more:
        page = json.loads(connection.send("GET", f"/v1/changes?limit=500{after}").text)
        yield from page["items"]
        after, more = f"&after={page['next_after']}", page["more"]
