"""The kinds of jobs: those that know no use case, and those whose work is made of use cases."""

from __future__ import annotations

from service.jobs import kinds
from service.jobs.kinds import Kind, Kinds
from service.usecases.importing import IMPORT, import_rows
from service.usecases.joining import join_imported, join_stale, look_again
from service.usecases.planning import PLAN, make_plan
from service.usecases.stale_joins import JOIN

#: Kind by its name.
KINDS: Kinds = {
    **kinds.KINDS,
    IMPORT: Kind(import_rows, join_imported, spooled="import_id"),
    JOIN: Kind(join_stale, look_again),
    PLAN: Kind(make_plan),
}
