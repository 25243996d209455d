"""What runs the service elsewhere: what it sets is a setting, what it runs a command, what it mounts is there."""

from __future__ import annotations

import json
import re
import runpy
import shutil
import subprocess
from typing import Any

import pytest
import typer
import yaml
from typer.main import get_command

from service.cli import app, planning
from service.settings import Settings
from tests.conftest import ROOT

FILES = sorted((ROOT / "docker").glob("compose*.yaml"))
SETTINGS = {f"EBBMARK_{name.upper()}" for name in Settings.model_fields}
#: Words that a server of the database is told by, none of the service's.
OF_THE_DATABASE = {"EBBMARK_ADMIN_PASSWORD", "EBBMARK_OWNER_PASSWORD", "EBBMARK_APP_PASSWORD"}


def test_there_is_one_for_each_store():
    assert [path.name for path in FILES] == ["compose.postgres.yaml", "compose.yaml"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_what_is_set_is_a_setting(path):
    named = set(re.findall(r"EBBMARK_[A-Z_]+", path.read_text()))
    assert named <= SETTINGS | OF_THE_DATABASE


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_services_are_shut_in_and_only_this_machine_reaches_them(path):
    services = yaml.safe_load(path.read_text())["services"]
    ours = {name: one for name, one in services.items() if one.get("image") == "ebbmark"}
    assert "api" in ours
    for name, one in ours.items():
        assert one["read_only"] is True, name
        assert one["cap_drop"] == ["ALL"], name
        assert one["mem_limit"] == "2g", name
    for one in services.values():
        assert all(port.startswith("127.0.0.1:") for port in one.get("ports", []))
        for volume in one.get("volumes", []):
            if volume.startswith("."):
                assert (path.parent / volume.partition(":")[0]).is_file(), volume


def test_the_health_check_and_the_command_need_no_shell_and_ask_the_port_that_is_set():
    steps = runpy.run_path(str(ROOT / "docker" / "try_image.py"))["instructions"]
    found = dict(steps((ROOT / "docker" / "Dockerfile").read_text()))
    assert json.loads(found["CMD"])[0] == "ebbmark"
    program, option, script = json.loads(found["HEALTHCHECK"].partition("CMD ")[2])
    assert (program, option) == ("python", "-c")
    compile(script, "HEALTHCHECK", "exec")
    assert "os.environ.get('EBBMARK_PORT', '8321')" in script
    assert int(found["USER"]) > 0


def test_only_the_upgrade_owns_the_tables():
    services = yaml.safe_load((ROOT / "docker" / "compose.postgres.yaml").read_text())["services"]
    owners = [name for name, one in services.items() if "EBBMARK_STORE_OWNER" in one.get("environment", {})]
    assert owners == ["upgrade"]
    assert services["upgrade"]["command"] == ["ebbmark", "db", "upgrade"]
    assert services["worker"]["command"] == ["ebbmark", "worker"]
    assert services["api"]["environment"]["EBBMARK_WORKERS"] == "0"


UNITS = ROOT / "docker" / "systemd"
CRON = ROOT / "docker" / "kubernetes" / "plan.yaml"
CODES = (
    planning.ALL_DONE,
    planning.SOME_FAILED,
    planning.USAGE,
    planning.NO_STORE,
    planning.ANOTHER_RUN,
    planning.NOT_DONE,
)


def read_unit(name):
    """The lines of a unit as ``name -> value``; comments are left out."""
    lines = (UNITS / name).read_text().splitlines()
    return dict(line.split("=", 1) for line in lines if "=" in line and not line.startswith("#"))


def check_command(words):
    """Refuse a command line that the command would not take."""
    program, name, *arguments = words
    assert program.rpartition("/")[2] == "ebbmark"
    commands: Any = get_command(app)
    command = commands.commands[name]
    with typer.Context(command) as context:
        command.parse_args(context, list(arguments))


def commands():
    services = yaml.safe_load((ROOT / "docker" / "compose.postgres.yaml").read_text())["services"]
    cron = yaml.safe_load(CRON.read_text())["spec"]["jobTemplate"]["spec"]["template"]["spec"]
    yield services["plan"]["command"]
    yield cron["containers"][0]["args"]
    yield read_unit("ebbmark-plan.service")["ExecStart"].split()


def test_whatever_makes_the_nightly_plan_runs_the_command():
    for words in commands():
        assert words[1] == "plan"
        check_command(words)
    with pytest.raises(Exception, match="No such option"):
        check_command(["ebbmark", "plan", "--nightly"])


def test_the_nightly_plan_waits_to_be_named_and_is_not_begun_again():
    plan = yaml.safe_load((ROOT / "docker" / "compose.postgres.yaml").read_text())["services"]["plan"]
    assert (plan["profiles"], plan["restart"]) == (["nightly"], "no")


def test_exit_codes_are_those_of_the_command_and_of_the_guide():
    told = re.findall(r"^\| (\d) \|", (ROOT / "openapi" / "guides" / "plans.md").read_text(), flags=re.M)
    assert [int(code) for code in told] == list(CODES)
    unit = read_unit("ebbmark-plan.service")
    fine = {int(code) for code in unit["SuccessExitStatus"].split()}
    assert fine == {planning.SOME_FAILED, planning.ANOTHER_RUN}
    assert int(unit["RestartPreventExitStatus"]) == planning.USAGE
    rules = yaml.safe_load(CRON.read_text())["spec"]["jobTemplate"]["spec"]["podFailurePolicy"]["rules"]
    by_action = {rule["action"]: rule["onExitCodes"]["values"] for rule in rules}
    assert by_action == {
        "FailJob": [planning.SOME_FAILED, planning.USAGE],
        "Count": [planning.NO_STORE, planning.ANOTHER_RUN, planning.NOT_DONE],
    }
    assert sorted(code for values in by_action.values() for code in values) == list(CODES[1:])


def test_the_job_of_the_cluster_is_shut_in():
    job = yaml.safe_load(CRON.read_text())
    assert (job["apiVersion"], job["kind"]) == ("batch/v1", "CronJob")
    pod = job["spec"]["jobTemplate"]["spec"]["template"]["spec"]
    (one,) = pod["containers"]
    assert pod["securityContext"]["runAsNonRoot"] is True
    assert one["securityContext"]["readOnlyRootFilesystem"] is True
    assert one["securityContext"]["capabilities"] == {"drop": ["ALL"]}
    assert {variable["name"] for variable in one["env"]} <= SETTINGS
    # A policy by exit codes needs pods that are not begun again in place.
    assert pod["restartPolicy"] == "Never"
    assert {m["name"] for m in one["volumeMounts"]} == {v["name"] for v in pod["volumes"]}


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed")
def test_units_are_what_systemd_takes(tmp_path):
    for name in ("ebbmark-plan.service", "ebbmark-plan.timer"):
        (tmp_path / name).write_text((UNITS / name).read_text().replace("/opt/ebbmark/bin/ebbmark", "/bin/true"))
    done = subprocess.run(
        ["systemd-analyze", "verify", *(str(path) for path in sorted(tmp_path.iterdir()))],
        capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
