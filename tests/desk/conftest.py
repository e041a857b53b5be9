"""A desk on a state folder of its own, and one served for real on a loopback port."""

import http.client
import json
import threading
import time
from contextlib import contextmanager

import pytest
import uvicorn

from gracewright.desk import Desk, Keeping, make_app
from gracewright.desk.server import listening
from gracewright.job import demo_piece

KEY = "a-key-for-tests"


@pytest.fixture
def keeping(tmp_path):
    return Keeping(tmp_path / "state")


@pytest.fixture
def desk(keeping):
    return Desk.open(keeping, demo_piece())


@pytest.fixture
def session(desk):
    return desk.there


class Served:
    """A running server and a small client for it."""

    def __init__(self, port):
        self.port, self.origin = port, f"http://127.0.0.1:{port}"
        self.url = f"{self.origin}/{KEY}/"

    def ask(self, method, path, body=None, headers=None, *, key=KEY):
        """Status, headers and body of one request; a dict goes out as JSON with what the page would send."""
        sent = {"X-Gracewright": "1", "Origin": self.origin} if method == "POST" else {}
        if isinstance(body, dict):
            body = json.dumps(body).encode()
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            line.request(method, f"/{key}/{path}" if key else path, body, {**sent, **(headers or {})})
            answer = line.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            line.close()

    def tell(self, path, body):
        status, _, answer = self.ask("POST", path, body)
        return status, json.loads(answer)

    def state(self, query=""):
        return json.loads(self.ask("GET", f"api/state{query}")[2])


@contextmanager
def serving(desk):
    bound = listening(0, True)
    config = uvicorn.Config(make_app(desk, KEY), log_level="error", lifespan="off", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True)
    thread.start()
    until = time.monotonic() + 10
    while not server.started and time.monotonic() < until:
        time.sleep(0.01)
    try:
        yield Served(bound.getsockname()[1])
    finally:
        server.should_exit = True
        thread.join(5)
        bound.close()


@pytest.fixture
def served(desk):
    with serving(desk) as running:
        yield running


@pytest.fixture(scope="module")
def standing(tmp_path_factory):
    """One server for all tests of a module that change nothing."""
    with serving(Desk.open(Keeping(tmp_path_factory.mktemp("state")), demo_piece())) as running:
        yield running
