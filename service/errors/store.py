"""What is asked for does not go with what is stored."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from service.errors.root import ServiceError


class NotFound(ServiceError):
    """There is no such thing for this account."""

    def __init__(self, kind: str, key: str, expected: str = "") -> None:
        """``kind`` of thing and the ``key`` it was looked up by."""
        self.kind, self.key = kind, key
        self.expected = expected or f"the id of a {kind}, as its list gives it"
        super().__init__(f"there is no {kind} {key!r}; expected {self.expected}")


class Conflict(ServiceError):
    """What is asked for does not go with what is stored."""


class ReferenceTaken(Conflict):
    """An ``external_ref`` that another thing of the same kind has."""

    def __init__(self, kind: str, external_ref: str, holder: str) -> None:
        """``kind`` of thing, the reference, and the id that holds it."""
        self.kind, self.external_ref, self.holder = kind, external_ref, holder
        super().__init__(f"external_ref {external_ref!r} is already that of {kind} {holder!r}; give another")


class IssueTaken(Conflict):
    """An issue of conditions, or an official warning, that is there already and says something else."""

    def __init__(self, kind: str, what: str, holder: str) -> None:
        """``kind`` of thing, ``what`` tells one from another, and the id of the one that is there."""
        self.kind, self.what, self.holder = kind, what, holder
        super().__init__(
            f"{kind} {holder!r} has {what} already and says something else; delete it first, or send what came later"
        )


class NoModel(Conflict):
    """A station that has no tide model yet."""

    def __init__(self, station_id: str) -> None:
        """``station_id`` of the station."""
        self.station_id = station_id
        super().__init__(f"station {station_id!r} has no tide model yet; adopt a fit, or give constituents")


class FitNotDone(Conflict):
    """A fit that cannot be adopted in its state."""

    def __init__(self, fit_id: str, state: str) -> None:
        """``fit_id`` and the ``state`` it is in."""
        self.fit_id, self.state = fit_id, state
        super().__init__(f"fit {fit_id!r} is {state}; only a fit that is done can be adopted")


class FitNotChecked(Conflict):
    """A fit whose record was not checked, or not yet."""

    def __init__(self, fit_id: str, state: str) -> None:
        """``fit_id`` and the ``state`` it is in."""
        self.fit_id, self.state = fit_id, state
        super().__init__(f"fit {fit_id!r} is {state} and has no check of its record; fit it with quality=check")


class PlanNotDone(Conflict):
    """A plan that cannot be read as a whole in its state."""

    def __init__(self, plan_id: str, state: str) -> None:
        """``plan_id`` and the ``state`` it is in."""
        self.plan_id, self.state = plan_id, state
        super().__init__(f"plan {plan_id!r} is {state}; only one that is done has its sessions in order")


class InUse(Conflict):
    """A thing that others rest on."""

    #: Most users that are named.
    MOST_NAMED: ClassVar[int] = 20

    def __init__(self, kind: str, key: str, users: Sequence[str]) -> None:
        """``kind`` of thing, its ``key``, and the ids of its ``users``: one more than are named tells of others."""
        self.kind, self.key, self.users = kind, key, tuple(users)
        told = ", ".join(self.users[: self.MOST_NAMED]) or "things of other accounts"
        if len(self.users) > self.MOST_NAMED:
            told += " and others"
        super().__init__(f"{kind} {key!r} is in use by {told}; change or delete those first")


class KeyRunning(Conflict):
    """A request with the same Idempotency-Key is still being answered."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("a request with this Idempotency-Key is still being answered; send it again in a second")


class JobEnded(Conflict):
    """A job that has ended and so cannot be cancelled."""

    def __init__(self, job_id: str, state: str) -> None:
        """``job_id`` and the ``state`` it ended in."""
        self.job_id, self.state = job_id, state
        super().__init__(f"job {job_id!r} is {state}; only a job that is queued or running can be cancelled")


class StoreConflict(Conflict):
    """Two writers met at the same row, or a row that must exist has gone."""

    def __init__(self, what: str = "") -> None:
        """``what`` the store refused."""
        self.what = what
        super().__init__("the store refused the write because of another one" + (f" ({what})" if what else ""))


class Precondition(ServiceError):
    """What the caller knows of the thing it edits is missing or out of date."""


class PreconditionMissing(Precondition):
    """An edit that does not say which state of the thing it edits."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the edit does not say what it edits; send If-Match with the ETag that a read gave, or *")


class Stale(Precondition):
    """The thing is not any more as the caller read it."""

    def __init__(self, kind: str, key: str) -> None:
        """``kind`` of thing and its ``key``."""
        self.kind, self.key = kind, key
        super().__init__(f"{kind} {key!r} has changed since it was read; read it again and edit that")


class KeyReused(ServiceError):
    """An Idempotency-Key under which another request was answered."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("another request was answered under this Idempotency-Key; give each request its own")


class CursorGone(ServiceError):
    """A cursor from beyond what the store knows: it was put back to an earlier state."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the store knows nothing as new as this cursor any more; read everything again from the start")
