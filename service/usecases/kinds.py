"""The kinds of jobs: those that know no use case, and those whose work is made of use cases."""

from __future__ import annotations

from service.jobs import kinds
from service.jobs.kinds import Kind, Kinds
from service.usecases.importing import IMPORT, import_rows
from service.usecases.planning import PLAN, make_plan

#: Kind by its name.
KINDS: Kinds = {**kinds.KINDS, IMPORT: Kind(import_rows, spooled="import_id"), PLAN: Kind(make_plan)}
