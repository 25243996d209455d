"""What the service lacks just now, and jobs that ended by no fault of what they were given."""

from __future__ import annotations

from collections.abc import Sequence

from service.errors.root import ServiceError
from tidecore.errors import Fault


class Unavailable(ServiceError):
    """What the service needs is not there just now."""


class StoreUnavailable(Unavailable):
    """The store cannot be reached, is locked or full."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(f"the store cannot be used now: {reason}")


class SpoolUnavailable(Unavailable):
    """What is uploaded cannot be written to the spool folder."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(
            f"an upload cannot be kept now: {reason}; EBBMARK_SPOOL must be a folder with room that the service may "
            "write to"
        )


class NotReady(Unavailable):
    """The service is not ready; ``missing`` says what it lacks."""

    def __init__(self, missing: Sequence[str]) -> None:
        """Hold what is ``missing``."""
        self.missing = tuple(missing)
        super().__init__("not ready: " + "; ".join(self.missing))


class NoFonts(Unavailable):
    """A picture in pixels was asked for on a machine that has no font."""

    def __init__(self) -> None:
        """Say what would help."""
        super().__init__(
            "this machine has no font to write with, so there are no PNG charts; install one (on Debian and Ubuntu the "
            "package fonts-dejavu-core), or ask for image/svg+xml"
        )


class PortUnavailable(Unavailable):
    """The service cannot listen at its port; only ever seen before there is anything to answer."""


class SettingsInvalid(Unavailable):
    """Variables of the environment that set nothing; only ever seen before there is anything to answer."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        """Hold the ``faults``, each the name of a variable, what is wrong with it and what would be right."""
        self.faults = tuple(faults)
        super().__init__("; ".join(str(fault) for fault in self.faults))


class JobFailed(ServiceError):
    """A job that ended without a result, not by a fault of what it was given."""


class WorkerLost(JobFailed):
    """The worker process died in every attempt."""

    def __init__(self, attempts: int) -> None:
        """``attempts`` that were made."""
        self.attempts = attempts
        super().__init__(
            f"the worker process died in each of {attempts} attempts, as it does when memory runs out; "
            "give it less at once, or the machine more"
        )


class JobInterrupted(JobFailed):
    """The process that ran the job died, or lost the store, in every attempt."""

    def __init__(self, attempts: int) -> None:
        """``attempts`` that were made."""
        self.attempts = attempts
        super().__init__(
            f"the process that ran this job fell silent in each of {attempts} attempts; look at its log, "
            "then ask for the job again"
        )


class JobTimedOut(JobFailed):
    """The job ran longer than the limit."""

    def __init__(self, limit_s: float) -> None:
        """``limit_s`` in seconds."""
        self.limit_s = limit_s
        super().__init__(f"the job ran longer than {limit_s:g} s, the limit of EBBMARK_JOB_TIMEOUT_S")


class JobBroke(JobFailed):
    """An error inside the job that nobody foresaw; the log has it under the job's id."""

    def __init__(self) -> None:
        """Say it without giving the inside away."""
        super().__init__("the job broke on an unforeseen error; the log has it under the id of the job")


class RecordLost(JobFailed):
    """An uploaded record is not where this worker looks for it."""

    def __init__(self) -> None:
        """Say where it should be."""
        super().__init__(
            "the uploaded record is not in the spool folder of this worker; send it again, and give every process "
            "the same EBBMARK_SPOOL"
        )


class ClusterUnreachable(JobFailed):
    """The Dask cluster that jobs are to be done on cannot be used."""

    def __init__(self, address: str, reason: str) -> None:
        """``address`` of its scheduler, and the ``reason``."""
        self.address, self.reason = address, reason
        super().__init__(
            f"the cluster at {address} cannot be used: {reason}; set EBBMARK_DASK_SCHEDULER to a scheduler with "
            "workers that have this version installed, or to nothing"
        )
