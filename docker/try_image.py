"""Does what the Dockerfile says, step by step and without a container engine: `python docker/try_image.py`.

Every instruction is read from the Dockerfile and done below a temporary folder in place of `/`, with an empty
environment, by the Python that runs this. Then the command of the image is started, its health check is run, a key is
made and used, the nightly plan is run, and it is stopped. As root, the service runs as the user of the image. Not done,
and said: the system's packages and the user, the read-only file system, the Python of the image.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[1]
#: Folders of the image, which lie below the temporary one here.
_OURS = re.compile(r"(?<![\w.:/])/(?=(?:opt/ebbmark|src|data)\b)")
_PATIENCE_S = 60.0


def instructions(text: str) -> Iterator[tuple[str, str]]:
    """Yield the instructions of a Dockerfile with their arguments, continued lines joined."""
    lines = "\n".join(line for line in text.splitlines() if not line.startswith("#"))
    for line in lines.replace("\\\n", " ").splitlines():
        name, _, rest = line.strip().partition(" ")
        if name:
            yield name, rest.strip()


@dataclass
class Image:
    """What the steps so far have made, below ``root``."""

    root: Path
    folder: Path
    environment: dict[str, str] = field(default_factory=lambda: {"PATH": os.environ["PATH"], "LANG": "C.UTF-8"})
    user: str = ""
    command: list[str] = field(default_factory=list)
    health: list[str] = field(default_factory=list)

    def here(self, text: str) -> str:
        """Return a text with the folders of the image as they are here."""
        return _OURS.sub(f"{self.root}/", text)

    def step(self, name: str, rest: str) -> None:
        """Do one instruction; ValueError for one that this does not know."""
        if name == "WORKDIR":
            self.folder = Path(self.here(rest))
            self.folder.mkdir(parents=True, exist_ok=True)
        elif name == "COPY":
            self._copy(rest)
        elif name == "RUN" and ("apt-get" in rest or "useradd" in rest):
            say(f"left out, it changes the system: {rest}")
        elif name == "RUN":
            subprocess.run(["/bin/sh", "-ec", self.here(rest)], cwd=self.folder, env=self.environment, check=True)
        elif name == "ENV":
            for one in shlex.split(rest):
                key, _, value = one.partition("=")
                self.environment[key] = self.here(value).replace("$PATH", self.environment["PATH"])
        elif name == "USER":
            self.user = rest
        elif name == "HEALTHCHECK":
            self.health = json.loads(rest[rest.index("CMD") + 3 :])
        elif name == "CMD":
            self.command = json.loads(rest)
        elif name not in ("FROM", "EXPOSE", "VOLUME"):
            raise ValueError(f"{name} is not known here")

    def _copy(self, rest: str) -> None:
        *sources, target = shlex.split(rest)
        if sources[0].startswith("--from="):
            return
        for source in sources:
            to = self.folder / self.here(target)
            if (CHECKOUT / source).is_dir():
                shutil.copytree(CHECKOUT / source, to, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(CHECKOUT / source, to / source if target.endswith("/") else to)

    def start(self, words: list[str]) -> subprocess.Popen[str]:
        """Start a command as the container would, as its user where this one may."""
        if os.geteuid() == 0:
            words = ["setpriv", f"--reuid={self.user}", f"--regid={self.user}", "--clear-groups", *words]
        return subprocess.Popen(
            words,
            cwd=self.root / "data",
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def said(self, *words: str, code: int = 0) -> str:
        """Return what a command prints, or else what it says of errors; ends this where it ends with another code."""
        process = self.start(list(words))
        output, errors = process.communicate(timeout=_PATIENCE_S)
        if process.returncode != code:
            sys.exit(f"{shlex.join(words)} ended with {process.returncode}, not {code}:\n{output}{errors}")
        return (output or errors).strip()


def say(text: str) -> None:
    """Say a line."""
    print(f"-- {text}", flush=True)  # noqa: T201 - this is what it is for


def main() -> None:
    """Do all of it; ends with 1 where a step fails."""
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        root.chmod(0o755)
        data = root / "data"
        data.mkdir()
        image = Image(root, root)
        for instruction, rest in instructions((CHECKOUT / "docker" / "Dockerfile").read_text(encoding="utf-8")):
            say(f"{instruction} {rest}")
            image.step(instruction, rest)
        if os.geteuid() == 0:
            os.chown(data, int(image.user), int(image.user))
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        image.environment["EBBMARK_PORT"] = str(port)
        try_service(image, port)
    say(f"the steps of the image work here, with Python {sys.version.split()[0]}")


def try_service(image: Image, port: int) -> None:
    """Start the command of the image, ask it something with a key, and stop it."""
    began = time.monotonic()
    service = image.start(image.command)
    try:
        while (healthy := image.start(image.health)).wait() != 0:
            if service.poll() is not None or time.monotonic() - began > _PATIENCE_S:
                service.kill()
                sys.exit(f"not healthy: {healthy.communicate()[1]}\n{''.join(service.communicate())}")
            time.sleep(0.2)
        say(f"healthy after {time.monotonic() - began:.1f} s")
        key = image.said("ebbmark", "keys", "create", "--account", "acc_local", "--scope", "read")
        asked = urllib.request.Request(
            f"http://127.0.0.1:{port}/v1/stations", headers={"authorization": f"Bearer {key}"}
        )
        with urllib.request.urlopen(asked, timeout=10) as answer:
            say(f"GET /v1/stations with a key: {answer.status}, {answer.read()[:60]!r}")
        # The store has no marks: that is what it says, with the code of what makes no plan.
        say(image.said("ebbmark", "plan", "--days", "31", code=2))
    finally:
        service.send_signal(signal.SIGTERM)
        stopped = service.wait(timeout=_PATIENCE_S)
    # Once all is closed, the server ends by the signal that it was sent.
    if stopped not in (0, -signal.SIGTERM):
        sys.exit(f"it ended with {stopped} when it was stopped")


if __name__ == "__main__":
    main()
