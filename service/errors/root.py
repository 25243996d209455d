"""The root of the tree."""

from __future__ import annotations


class ServiceError(Exception):
    """Root of every error of the service; ``str()`` is a sentence for a person."""
