"""Methods: documents that rest on nothing else."""

from __future__ import annotations

from service.usecases.documents import Documents, DocumentView
from tidecore.rules import Method

MethodView = DocumentView[Method]

METHODS = Documents("method", "method", Method, lambda unit: unit.methods)
