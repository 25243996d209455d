"""How many requests a caller may make: a bucket of tokens each, in the memory of this process."""

from __future__ import annotations

import math
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

#: Most buckets kept; the one used longest ago goes first. Left alone so long it is full, as a new one is, unless more
#: callers than this come within the time that fills a bucket.
MOST_BUCKETS = 10_000

#: Tokens are fractions; a whole one may fall short of 1 by rounding.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Allowance:
    """What is left to a caller: whether the request was ``taken``, and when more is there [s]."""

    taken: bool
    remaining: int
    full_in_s: int
    retry_after_s: int


class RateLimiter:
    """Buckets of ``burst`` tokens, one for each request, filled at an even pace."""

    def __init__(
        self,
        per_minute: int,
        burst: int,
        monotonic: Callable[[], float] = time.monotonic,
        most: int = MOST_BUCKETS,
    ) -> None:
        """Fill ``per_minute`` tokens a minute by the clock ``monotonic`` [s]; keep at most ``most`` buckets."""
        self.per_minute, self.burst = per_minute, burst
        self._per_second = per_minute / 60.0
        self._monotonic, self._most = monotonic, most
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def __len__(self) -> int:
        """Return how many buckets are kept."""
        return len(self._buckets)

    def take(self, caller: str) -> Allowance:
        """Take a token of ``caller`` if there is one."""
        now = self._monotonic()
        tokens, last = self._buckets.get(caller, (float(self.burst), now))
        tokens = min(float(self.burst), tokens + (now - last) * self._per_second)
        taken = tokens >= 1.0 - _ROUNDING
        if taken:
            tokens = max(0.0, tokens - 1.0)
        self._buckets[caller] = (tokens, now)
        self._buckets.move_to_end(caller)
        while len(self._buckets) > self._most:
            self._buckets.popitem(last=False)
        return Allowance(
            taken,
            remaining=math.floor(tokens + _ROUNDING),
            full_in_s=self._seconds(self.burst - tokens),
            retry_after_s=max(1, self._seconds(1.0 - tokens)),
        )

    def fields(self, allowance: Allowance) -> dict[str, str]:
        """Return the fields of draft-ietf-httpapi-ratelimit-headers-11: the policy, and what is left of it.

        The window ``w`` is the time [s] in which an empty bucket fills, ``t`` the time until this one is full.
        """
        window = max(1, self._seconds(self.burst))
        return {
            "RateLimit-Policy": f'"default";q={self.burst};w={window}',
            "RateLimit": f'"default";r={allowance.remaining};t={allowance.full_in_s}',
        }

    def _seconds(self, tokens: float) -> int:
        """Return the whole seconds in which ``tokens`` flow in."""
        return math.ceil(tokens / self._per_second - _ROUNDING)
