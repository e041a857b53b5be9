"""The server answers its own page and refuses everybody else."""

import json
import socket
import threading

import pytest
from lxml import etree

from gracewright.desk.guard import LIMIT
from gracewright.job import demo_piece
from gracewright.score import read

from .conftest import KEY, serving


def raw(port, text, timeout=10):
    """Send bytes as they are; the first line of the answer."""
    with socket.create_connection(("127.0.0.1", port), timeout=timeout) as line:
        line.sendall(text)
        answer = line.recv(4096)
    return answer.split(b"\r\n", 1)[0].decode("latin-1")


def test_the_page_and_all_its_files_are_served_with_a_strict_policy(standing):
    files = ("desk.js", "desk.css", "parts.css", "icon.svg")
    for path in ("", *(f"static/{name}" for name in files), "faces/Gracewright-Regular", "faces/Text-Italic"):
        status, headers, body = standing.ask("GET", path)

        assert (status, bool(body)) == (200, True), path
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


def test_the_page_names_no_other_address_and_holds_no_inline_script(standing):
    page = standing.ask("GET", "")[2].decode()

    assert "http" not in page
    assert "onclick" not in page
    assert "<script>" not in page


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:{port}", "[::1]"])
def test_another_host_is_refused(standing, host):
    asked = f"GET /{KEY}/api/state HTTP/1.1\r\nHost: {host.format(port=standing.port)}\r\nConnection: close\r\n\r\n"

    assert raw(standing.port, asked.encode()).split()[1] == "400"


def test_two_hosts_are_refused(standing):
    hosts = f"Host: 127.0.0.1:{standing.port}\r\nHost: evil.example"
    asked = f"GET /{KEY}/ HTTP/1.1\r\n{hosts}\r\nConnection: close\r\n\r\n"

    assert raw(standing.port, asked.encode()).split()[1] == "400"


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1"])
def test_another_origin_is_refused(standing, origin):
    body = {"revision": 0, "changes": {"richness": 9}}
    status, _, _ = standing.ask("POST", "api/turn", body, {"Origin": origin.format(port=standing.port)})

    assert status == 403
    assert standing.state()["revision"] == 0


def test_a_form_from_another_page_cannot_change_anything(standing):
    asked = (f"POST /{KEY}/api/undo HTTP/1.1\r\nHost: 127.0.0.1:{standing.port}\r\nContent-Type: text/plain\r\n"
             "Content-Length: 14\r\nConnection: close\r\n\r\n{\"revision\":0}")  # fmt: skip

    assert raw(standing.port, asked.encode()).split()[1] == "403"


def test_without_the_key_there_is_nothing(standing):
    for path in ("/", "/api/state", "/wrong/api/state", f"/{KEY[:-1]}/", "/static/desk.js"):
        assert standing.ask("GET", path, key="")[0] == 404, path


@pytest.mark.parametrize(
    "path",
    ["static/../../../pyproject.toml", "static/%2e%2e/server.py", "static/..%2f..%2fserver.py", "static//etc/passwd",
     "faces/..%2fserver.py", "api/take/..%2f..%2fserver.py", "api/take/%2fetc%2fpasswd", "static/%5c..%5cserver.py"],
)  # fmt: skip
def test_a_path_that_climbs_out_is_refused(standing, path):
    status, _, body = standing.ask("GET", path)

    assert status in (404, 405, 422)
    assert b"import" not in body


def bringing_head(standing):
    return (f"POST /{KEY}/api/bring?name=a.musicxml HTTP/1.1\r\nHost: 127.0.0.1:{standing.port}\r\n"
            f"Origin: {standing.origin}\r\nX-Gracewright: 1\r\n")  # fmt: skip


def test_a_body_of_a_hundred_megabytes_is_refused_unread(standing):
    asked = bringing_head(standing) + f"Content-Length: {100 * 1024 * 1024}\r\n\r\n"

    assert raw(standing.port, asked.encode() + b"x" * 1000).split()[1] == "413"


def test_a_body_that_does_not_say_its_length_is_cut_off_at_the_limit(standing):
    head = bringing_head(standing) + "Transfer-Encoding: chunked\r\n\r\n"
    chunk = b"100000\r\n" + b"x" * 0x100000 + b"\r\n"
    with socket.create_connection(("127.0.0.1", standing.port), timeout=20) as line:
        line.sendall(head.encode())
        sent = 0
        try:
            while sent < 100 * 0x100000:
                line.sendall(chunk)
                sent += 0x100000
            answer = line.recv(100)
        except OSError:
            answer = b""

    assert sent <= LIMIT + 80 * 0x100000
    assert not answer or answer.split()[1] == b"413"
    assert standing.state()["piece"]["title"] == "Adagio"


def test_what_is_not_json_is_refused_with_a_sentence(standing):
    for body in (b"", b"[1]", b"{", b"\xff\xfe", b"[" * 100_000):
        status, _, answer = standing.ask("POST", "api/turn", body)

        assert status == 422
        assert json.loads(answer)["fault"].endswith(".")


def test_hostile_values_are_refused_with_a_sentence(standing):
    for path, body in [("api/decide", {"revision": 0, "note": "x" * 10_000, "time": 1, "what": "keep"}),
                       ("api/decide", {"revision": 0, "note": "P1.b1.n1", "time": "one", "what": "keep"}),
                       ("api/decide", {"revision": 0, "note": "P1.b1.n1", "time": 1, "what": "drop"}),
                       ("api/turn", {"revision": 0, "changes": [1]}),
                       ("api/turn", {"revision": {}, "changes": {}}),
                       ("api/resume", {"piece": "../../etc"}),
                       ("api/undo", {"revision": 0, "rows": "all"})]:  # fmt: skip
        status, answer = standing.tell(path, body)

        assert status == 422, (path, body)
        assert answer["fault"].endswith(".")
    assert standing.state()["revision"] == 0


def test_a_bad_file_is_refused_with_the_reader_s_sentence_and_the_page_stays(served, tmp_path):
    bad = tmp_path / "bad.musicxml"
    bad.write_bytes(b"<score-partwise/>")
    with pytest.raises(Exception, match=r"\w") as told:
        read(bad)
    status, _, answer = served.ask("POST", "api/bring?name=bad.musicxml", bad.read_bytes())

    assert (status, json.loads(answer)["fault"]) == (422, str(told.value))
    assert served.state()["piece"]["title"] == "Adagio"


def test_another_piece_can_be_brought_and_the_first_taken_up_again(served):
    first = served.state()["piece"]["digest"]
    served.tell("api/turn", {"revision": 0, "changes": {"richness": 8.5}})
    status, _, answer = served.ask("POST", "api/bring?name=menuet.musicxml", demo_piece("menuet").read_bytes())

    assert (status, json.loads(answer)["piece"]["title"]) == (200, "Menuet")
    recent = json.loads(served.ask("GET", "api/recent")[2])["recent"]
    assert {one["title"] for one in recent} == {"Adagio", "Menuet"}
    _, again = served.tell("api/resume", {"piece": first})
    assert again["wishes"]["richness"] == 8.5


def test_a_second_page_is_told_and_overwrites_nothing(served):
    assert served.tell("api/turn", {"revision": 0, "changes": {"richness": 9}})[0] == 200
    status, answer = served.tell("api/turn", {"revision": 0, "changes": {"richness": 1}})

    assert status == 409
    assert "another page" in answer["fault"]
    assert served.state()["wishes"]["richness"] == 9


def test_a_change_answers_with_only_the_drawings_the_page_does_not_hold(served):
    state = served.state("?width=1800")
    holds = list(state["page"]["drawings"])
    _, now = served.tell("api/turn", {"revision": 0, "changes": {"a": 440}, "width": 1800, "holds": holds, "count": 9})

    assert now["page"]["drawings"] == {}
    assert [s["key"] for s in now["page"]["systems"]] == [s["key"] for s in state["page"]["systems"]]


def test_what_is_taken_away_can_be_read_again(standing, tmp_path):
    for name in ("signs.musicxml", "played.musicxml", "plan.txt", "sheet.pdf"):
        status, headers, body = standing.ask("GET", f"api/take/{name}")

        assert status == 200, name
        assert headers["content-disposition"].startswith("attachment")
        if name.endswith(".musicxml"):
            assert etree.fromstring(body).tag == "score-partwise"
            assert len(read(name, body).bars) >= 16
        elif name.endswith(".pdf"):
            assert body.startswith(b"%PDF-")
        else:
            assert "Adagio" in body.decode()


def test_a_restarted_server_goes_on_where_it_was(served, desk, keeping):
    from gracewright.desk import Desk

    served.tell("api/turn", {"revision": 0, "changes": {"manner": "english"}})
    with serving(Desk.open(keeping, None)) as again:
        state = again.state()

        assert (state["revision"], state["wishes"]["manner"], state["undo"]) == (1, "english", "manner")
        assert again.tell("api/undo", {"revision": 1})[1]["wishes"]["manner"] == "german"


def test_many_at_once_get_whole_answers(standing):
    found = []

    def asking():
        found.append(standing.ask("GET", "api/state?width=1500")[0])

    threads = [threading.Thread(target=asking) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)

    assert found == [200] * 12
