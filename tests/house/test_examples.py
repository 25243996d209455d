"""What the README and the guides show is run: calls to the service, and Python, page by page, as a reader would."""

from __future__ import annotations

import http.server
import shutil
import threading

import pytest

from tests.house.examples import GUIDES, blocks, guide, run_python, run_shell, script, showing, unrun

SAMPLE = """# Tide

```python run
height = 2
```

```sh
make run
```

```sh run
curl http://localhost:8321/v1/stations
```

```python run
assert height == 2
```

```json
{}
```
"""


@pytest.mark.parametrize("name", GUIDES)
def test_every_example_is_marked_to_be_run(name):
    assert unrun(guide(name)) == []


@pytest.mark.parametrize("name", showing("python"))
def test_the_python_of_a_page_runs(reader, name):
    ran = run_python(guide(name), reader)
    assert ran.returncode == 0, ran.stderr


def test_the_readme_shows_both():
    assert "README.md" in showing("python")
    assert "README.md" in showing("sh")


def test_blocks_are_told_apart():
    assert [(block.language, block.run, block.line) for block in blocks(SAMPLE)] == [
        ("python", True, 4),
        ("sh", False, 8),
        ("sh", True, 12),
        ("python", True, 16),
        ("json", False, 20),
    ]


def test_an_example_not_marked_is_seen():
    assert unrun(SAMPLE.replace("sh run", "sh").replace("python run", "python")) == [4, 12, 16]


def test_code_stands_on_its_own_lines_and_shares_names(tmp_path):
    assert script(SAMPLE, "python").splitlines()[3] == "height = 2"
    assert run_python(SAMPLE, tmp_path).returncode == 0


def test_an_example_that_fails_is_seen(tmp_path):
    ran = run_python(SAMPLE.replace("== 2", "== 3"), tmp_path)
    assert ran.returncode != 0
    assert "line 16" in ran.stderr


@pytest.fixture
def refusing_server():
    class Refusal(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(422)
            self.end_headers()

        def log_message(self, *arguments):
            """Say nothing."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Refusal)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


def test_a_call_that_is_refused_is_seen(tmp_path, refusing_server):
    if shutil.which("curl") is None:
        pytest.skip("curl is not installed; the calls are made with it")
    ran = run_shell(SAMPLE, tmp_path, refusing_server)
    assert "422" in ran.stderr
    assert ran.returncode != 0
