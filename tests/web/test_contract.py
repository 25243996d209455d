"""The committed contract is linted clean, makes TypeScript that compiles, and breaks nothing that was released."""

from __future__ import annotations

import copy
import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

import tidecore
from tests.conftest import ROOT

pytestmark = pytest.mark.web

HERE = Path(__file__).parent
TOOLS = ROOT / ".web"
CONTRACT = ROOT / "openapi" / "v1.json"
RELEASED = ROOT / "openapi" / "released"

PROGRAMS = {
    "redocly": "@redocly/cli/bin/cli.js",
    "openapi-typescript": "openapi-typescript/bin/cli.js",
    "tsc": "typescript/bin/tsc",
}


def run(program: str, *arguments: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Run a program of Node that tells nobody anything and fetches nothing."""
    command = [str(TOOLS / "bin" / "node"), str(TOOLS / "node_modules" / PROGRAMS[program]), *arguments]
    quiet = {"REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true", "NO_COLOR": "1"}
    return subprocess.run(
        command, cwd=cwd, env={**os.environ, **quiet}, capture_output=True, text=True, timeout=100, check=False
    )


def lint(path: Path) -> subprocess.CompletedProcess[str]:
    options = ["--config", str(HERE / "redocly.yaml"), "--format", "codeframe"]
    if "securitySchemes" not in json.loads(path.read_text("utf-8"))["components"]:
        # A contract without keys has nothing that an operation could say about them.
        options += ["--skip-rule", "security-defined"]
    return run("redocly", "lint", str(path), *options)


def breaks(before: Path, after: Path) -> list[str]:
    """What of ``before`` ``after`` does not keep, each with where it stood."""
    done = run("redocly", "diff", str(before), str(after), "--format", "json", "--fail-on", "none")
    assert done.returncode == 0, done.stderr
    return sorted(
        {broken for change in json.loads(done.stdout)["changes"] if (broken := broken_by(change)) is not None}
    )


def broken_by(change: dict[str, Any]) -> str | None:
    """What a change breaks, None where nothing."""
    where = change.get("base", {}).get("pointer", change["path"])
    if change["impact"] == "major":
        return f"{where}: {'; '.join(one['message'] for one in change['verdicts'])}"
    if change.get("property") == "enum" and change["kind"] == "modified":
        # To the tool an answer that says less breaks nobody; but what a caller asks about is then gone.
        gone = [value for value in change["base"]["value"] if value not in change["revision"]["value"]]
        return f"{where}: {gone} gone" if gone else None
    return None


@pytest.fixture
def contract() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(CONTRACT.read_text("utf-8"))
    return found


@pytest.fixture
def written(tmp_path):
    def write(document: Any, name: str = "changed.json") -> Path:
        path: Path = tmp_path / name
        path.write_text(json.dumps(document), encoding="utf-8")
        return path

    return write


def test_the_contract_is_linted_clean():
    done = lint(CONTRACT)
    assert done.returncode == 0, done.stdout
    assert "warning" not in done.stdout


def test_a_bad_contract_is_seen(contract, written):
    del contract["paths"]["/v1/marks"]["get"]["summary"]
    created = contract["paths"]["/v1/marks"]["post"]["responses"]["201"]["content"]["application/json"]
    created["schema"] = {"$ref": "#/components/schemas/Nowhere"}
    contract["components"]["schemas"]["Mark"]["type"] = "objekt"
    done = lint(written(contract))
    assert done.returncode == 1
    for rule in ("operation-summary", "no-unresolved-refs", "struct"):
        assert rule in done.stdout


def test_the_types_of_the_contract_compile_with_a_caller_and_not_with_one_who_misreads_it(tmp_path):
    for name in ("caller.ts", "misreadings.ts", "tsconfig.json"):
        shutil.copy(HERE / name, tmp_path)
    # What has a default may be left out of a request.
    made = run(
        "openapi-typescript", str(CONTRACT), "--output", str(tmp_path / "contract.ts"), "--default-non-nullable=false"
    )
    assert made.returncode == 0, made.stderr
    done = run("tsc", "--project", str(tmp_path))
    assert done.returncode == 0, done.stdout


def released() -> list[Path]:
    """The contracts of releases, oldest first."""
    return sorted(RELEASED.glob("*.json"), key=lambda path: [int(part) for part in path.stem.split(".")])


def test_nothing_that_was_released_is_broken():
    if not released():
        assert int(tidecore.__version__.partition(".")[0]) == 0, "a release from 1.0 on keeps its contract"
        return
    broken = breaks(released()[-1], CONTRACT)
    unreleased = (ROOT / "CHANGELOG.md").read_text("utf-8").partition("## Unreleased")[2].partition("\n## ")[0]
    on_purpose = tidecore.__version__.startswith("0.") and re.search(r"^### Breaking$", unreleased, re.M)
    said = "\n".join(broken)
    assert not broken or on_purpose, f"{said}\nbefore 1.0 say it in CHANGELOG.md, Unreleased, under ### Breaking"


def drop_path(document):
    del document["paths"]["/v1/factors"]
    return "/paths/~1v1~1factors"


def drop_operation(document):
    del document["paths"]["/v1/marks"]["post"]
    return "/paths/~1v1~1marks/post"


def drop_field(document):
    schema = document["components"]["schemas"]["Station"]
    del schema["properties"]["time_zone"]
    schema["required"].remove("time_zone")
    return "/schemas/Station/"


def drop_value_of_an_answer(document):
    document["components"]["schemas"]["Fit"]["properties"]["state"]["enum"].remove("queued")
    return "/schemas/Fit/properties/state/enum: ['queued']"


def drop_parameter(document):
    parameters = document["paths"]["/v1/marks/{mark_id}/timeline"]["get"]["parameters"]
    parameters[:] = [one for one in parameters if one["name"] != "step"]
    return "/paths/~1v1~1marks~1{mark_id}~1timeline/get/parameters"


def ask_for_more(document):
    document["components"]["schemas"]["WindowSearch"]["required"].append("limit")
    return "/schemas/WindowSearch/required"


def change_type(document):
    document["components"]["schemas"]["Constituent"]["properties"]["amplitude_m"] = {"type": "string"}
    return "/schemas/Constituent/properties/amplitude_m"


BREAKING = (
    drop_path, drop_operation, drop_field, drop_value_of_an_answer, drop_parameter, ask_for_more, change_type,
)  # fmt: skip


def test_every_broken_promise_is_seen(contract, written):
    places = [spoil(contract) for spoil in BREAKING]
    found = breaks(CONTRACT, written(contract))
    assert [place for place in places if not any(place in one for one in found)] == [], found
    assert [one for one in found if not any(place in one for place in places)] == []


def test_what_is_only_added_breaks_nothing(contract, written):
    contract["paths"]["/v1/tackle"] = copy.deepcopy(contract["paths"]["/v1/factors"])
    contract["paths"]["/v1/tackle"]["get"]["operationId"] = "list_tackle"
    contract["components"]["schemas"]["Mark"]["properties"]["nickname"] = {"type": "string"}
    assert breaks(CONTRACT, written(contract)) == []
