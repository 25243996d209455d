"""Callers that may not do what they ask, or ask too often."""

from __future__ import annotations

from collections.abc import Sequence

from service.errors.root import ServiceError


class AccessRefused(ServiceError):
    """A caller that may not do this."""


class KeyNeeded(AccessRefused):
    """The request carries no API key."""

    def __init__(self) -> None:
        """Say how to send one."""
        super().__init__(
            "an API key is needed: send it as `Authorization: Bearer ebk_...`; whoever runs the service makes one with "
            "`ebbmark keys create`"
        )


class NotOwned(AccessRefused):
    """A public thing of another account, which can be read and not changed."""

    def __init__(self, kind: str, key: str) -> None:
        """``kind`` of thing and its ``key``."""
        self.kind, self.key = kind, key
        super().__init__(f"{kind} {key!r} is another account's; it can be read and not changed")


class KeyMalformed(AccessRefused):
    """What the request carries has not the form of a key."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``; never what was given."""
        self.reason = reason
        super().__init__(f"{reason}; expected one header `Authorization: Bearer ebk_<10 characters>_<32 characters>`")


class KeyInvalid(AccessRefused):
    """The key is not known, or was revoked; which of them is nobody's business."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the API key is not valid: it is not known here, or was revoked; use another one")


class KeyExpired(AccessRefused):
    """The key has expired; said only to who has its secret."""

    def __init__(self, expired_at: str) -> None:
        """``expired_at``: the instant, as text."""
        self.expired_at = expired_at
        super().__init__(f"the API key expired at {expired_at}; use another one")


class ScopeNeeded(AccessRefused):
    """The key is not good for this."""

    def __init__(self, scope: str, scopes: Sequence[str]) -> None:
        """The ``scope`` needed and the ``scopes`` of the key."""
        self.scope = scope
        super().__init__(f"this needs a key with the scope {scope}; this one has {', '.join(scopes) or 'none'}")


class NotLocal(AccessRefused):
    """Open mode serves this machine alone."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(f"open mode (EBBMARK_AUTH=open) serves this machine alone: {reason}")


class TooManyRequests(ServiceError):
    """More requests in a short time than the limit."""

    def __init__(self, per_minute: int, retry_after_s: int) -> None:
        """The limit ``per_minute``, and the whole seconds until a request is taken again."""
        self.limit, self.setting, self.retry_after_s = per_minute, "EBBMARK_RATE_LIMIT", retry_after_s
        super().__init__(
            f"more requests than the limit of {per_minute} a minute (EBBMARK_RATE_LIMIT); "
            f"try again in {retry_after_s} s"
        )
