"""Requests that cannot be read, or ask for too much."""

from __future__ import annotations

from collections.abc import Sequence

from service.errors.root import ServiceError
from tidecore.errors import Fault


class RequestUnreadable(ServiceError):
    """A body that is no JSON document."""

    def __init__(self, reason: str, expected: str = "one JSON document in UTF-8") -> None:
        """Hold the ``reason`` and what was ``expected``."""
        self.reason, self.expected = reason, expected
        super().__init__(f"the body cannot be read: {reason}; expected {expected}")


class BodyTooDeep(RequestUnreadable):
    """A JSON document nested deeper than the limit."""

    def __init__(self, limit: int) -> None:
        """``limit`` of levels."""
        self.limit = limit
        super().__init__(f"nested deeper than {limit} levels", f"at most {limit} levels of lists and objects")


class BodyTooLarge(ServiceError):
    """A body of more than ``limit`` bytes."""

    def __init__(self, limit: int, setting: str) -> None:
        """``limit`` in bytes and the ``setting`` that gives it."""
        self.limit, self.setting = limit, setting
        super().__init__(f"the body has more than {limit} bytes, the limit of {setting}; send less")


class MediaNotSupported(ServiceError):
    """A content type that the operation does not take."""

    def __init__(self, given: str, accepted: Sequence[str]) -> None:
        """What was ``given`` and what is ``accepted``."""
        self.given, self.accepted = given, tuple(accepted)
        super().__init__(f"content type {given or '(none)'!r} is not taken; expected {' or '.join(self.accepted)}")


class NotAcceptable(ServiceError):
    """No form of the answer that the caller accepts."""

    def __init__(self, given: str, available: Sequence[str]) -> None:
        """What the ``given`` Accept header says and what is ``available``."""
        self.given, self.available = given, tuple(available)
        super().__init__(
            f"the Accept header {given[:200]!r} takes no form that there is; expected {' or '.join(self.available)}"
        )


class DocumentInvalid(ServiceError):
    """Faults of a document or of parameters, all of them at once."""

    def __init__(self, faults: Sequence[Fault] | Fault) -> None:
        """Hold ``faults``; a single one may be given bare."""
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("; ".join(str(fault) for fault in self.faults))


class FileUnreadable(ServiceError):
    """A file of rows that breaks its format: not a row alone, but the file from there on."""

    def __init__(self, reason: str, line: int, expected: str) -> None:
        """The ``reason``, the 1-based ``line``, and what would be right there."""
        self.reason, self.line, self.expected = reason, line, expected
        super().__init__(f"line {line}: {reason}; expected {expected}")

    def __reduce__(self) -> tuple[type[FileUnreadable], tuple[str, int, str]]:
        """Survive pickling between processes."""
        return type(self), (self.reason, self.line, self.expected)


class LimitExceeded(ServiceError):
    """More than one answer may hold."""

    def __init__(self, sentence: str, limit: float, setting: str, field: str) -> None:
        """The ``sentence`` for a person, the ``limit``, its ``setting`` and the ``field`` to change."""
        self.limit, self.setting, self.field = limit, setting, field
        super().__init__(sentence)


class TooManyPoints(LimitExceeded):
    """More values than one answer holds."""

    def __init__(self, points: int, limit: int, fitting_step_s: int) -> None:
        """``points`` asked for, the ``limit``, and the step in seconds ``fitting_step_s`` that fits."""
        self.points, self.fitting_step_s = points, fitting_step_s
        sentence = f"{points} values asked for, more than the limit of {limit}; a step of {fitting_step_s} s fits"
        super().__init__(sentence, limit, "EBBMARK_MAX_POINTS", "step")


class SpanTooLong(LimitExceeded):
    """A span longer than the limit."""

    def __init__(self, days: float, limit_days: float, setting: str) -> None:
        """``days`` asked for, the ``limit_days`` and the ``setting`` that gives it."""
        self.days = days
        sentence = f"the span is {days:g} days, more than the limit of {limit_days:g}; ask for a shorter one"
        super().__init__(sentence, limit_days, setting, "end")


class SearchTooLarge(LimitExceeded):
    """Marks x rules x days over the limit."""

    def __init__(self, cells: float, limit: int, setting: str = "EBBMARK_MAX_SEARCH_CELLS") -> None:
        """``cells`` asked for, the ``limit``, and the ``setting`` that it is."""
        self.cells = cells
        sentence = (
            f"marks x rules x days is {cells:.0f}, more than the limit of {limit}; "
            "ask for fewer marks, fewer rules or a shorter span"
        )
        super().__init__(sentence, limit, setting, "end")


class TooManyJobs(LimitExceeded):
    """Too many jobs of this account are waiting."""

    def __init__(self, limit: int) -> None:
        """``limit`` of jobs queued or running."""
        sentence = f"{limit} jobs are queued or running; wait until one ends, or cancel one"
        super().__init__(sentence, limit, "EBBMARK_MAX_WAITING_JOBS", "body")


class TooManyRows(LimitExceeded):
    """A file of more rows than one import takes."""

    def __init__(self, limit: int) -> None:
        """``limit`` of rows, all of which have been done."""
        sentence = f"the file has more than {limit} rows; what follows them was not read; send the rest on its own"
        super().__init__(sentence, limit, "EBBMARK_MAX_IMPORT_ROWS", "body")


class CursorOutdated(ServiceError):
    """A cursor whose list rests on what has changed since."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("what the list rests on has changed since the cursor was given; start again without one")


class TooManyValues(LimitExceeded):
    """An issue of conditions of more values than are kept of one place."""

    def __init__(self, values: int, limit: int) -> None:
        """``values`` (times x variables) of the issue, and the ``limit``."""
        self.values = values
        sentence = f"the issue has {values} values (times x variables), more than the limit of {limit}; send fewer"
        super().__init__(sentence, limit, "EBBMARK_MAX_CONDITION_VALUES", "times")


class CursorInvalid(ServiceError):
    """A cursor that this list did not give."""

    def __init__(self) -> None:
        """Say it."""
        super().__init__("the cursor is not one that this list gave; start again without one")
