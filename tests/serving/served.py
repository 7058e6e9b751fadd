"""pygeoapi with our processes on a free port of this machine, as a process of its own; and requests to it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

_SERVER = """
import os
from pathlib import Path
from pygeoapi.openapi import generate_openapi_document
from werkzeug.serving import make_server
document = generate_openapi_document(Path(os.environ["PYGEOAPI_CONFIG"]), "yaml")
Path(os.environ["PYGEOAPI_OPENAPI"]).write_text(document, encoding="utf-8")
from pygeoapi.flask_app import APP
server = make_server("127.0.0.1", 0, APP, threaded=True)
place = Path(os.environ["PYGEOAPI_OPENAPI"]).parent
(place / "port.new").write_text(str(server.server_port))
(place / "port.new").rename(place / "port")
server.serve_forever()
"""


@dataclass(frozen=True)
class Answer:
    """Status, media type, headers and content of an answer."""

    status: int
    headers: dict[str, str]
    content: bytes

    @property
    def media_type(self) -> str:
        return self.headers.get("Content-Type", "").partition(";")[0]

    @property
    def json(self) -> Any:
        return json.loads(self.content)


@dataclass(frozen=True)
class Server:
    """A server that answers."""

    url: str
    inputs: Path
    outputs: Path

    def get(self, place: str, method: str = "GET") -> Answer:
        return _answer(urllib.request.Request(f"{self.url}/{place}", method=method))

    def run(self, process: str, content: Any, **headers: str) -> Answer:
        data = content if isinstance(content, bytes) else json.dumps(content).encode()
        told = {"Content-Type": "application/json", **headers}
        return _answer(urllib.request.Request(f"{self.url}/processes/{process}/execution", data, told))


def _answer(request: urllib.request.Request) -> Answer:
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=300) as there:
            return Answer(there.status, dict(there.headers), there.read())
    except urllib.error.HTTPError as error:
        return Answer(error.code, dict(error.headers), error.read())


@contextmanager
def serving(folder: Path, inputs: Path, **changed: Any) -> Iterator[Server]:
    """A server on what the printed configuration says; ``changed`` are settings of its jobs."""
    import yaml

    outputs = folder / "outputs"
    outputs.mkdir(parents=True)
    printed = subprocess.run(
        [sys.executable, "-m", "hillsight.serving", str(inputs), str(outputs)],
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    told = yaml.safe_load(printed)
    for one in told["resources"].values():
        one["processor"]["settings"].update(changed)
    (folder / "server.yml").write_text(yaml.safe_dump(told))
    log = folder / "log.txt"
    with log.open("w") as said:
        process = subprocess.Popen(
            [sys.executable, "-c", _SERVER],
            stdout=said,
            stderr=subprocess.STDOUT,
            env={
                **os.environ,
                "PYGEOAPI_CONFIG": str(folder / "server.yml"),
                "PYGEOAPI_OPENAPI": str(folder / "openapi.yml"),
                "SOURCE_DATE_EPOCH": "1780000000",
            },
        )
    try:
        while not (folder / "port").exists():
            assert process.poll() is None, log.read_text()
            time.sleep(0.1)
        yield Server(f"http://127.0.0.1:{(folder / 'port').read_text()}", inputs, outputs)
    finally:
        process.kill()
        process.wait()
