"""What a hostile page, another name for this machine or another person may try is refused.

Each test is an attack; which defence it goes against is named by the OWASP cheat sheets on
cross-site request forgery and DNS rebinding, and by Fetch Metadata (W3C).
"""

import socket

import pytest

from liltwright.page.gate import CODE_LENGTH, MOST_TRIES, Gate
from tests.page.server import Page

EDIT = {"version": 1, "edit": {"op": "title", "to": "Taken over"}}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    import liltwright
    from tests.page.conftest import DEMO

    folder = tmp_path_factory.mktemp("door")
    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=folder / "tunes" / "lamp")
    with Page(folder / "tunes", folder / "settings") as running:
        yield running


def title(page) -> str:
    return page.get("/api/shelf").json()["tunes"][0]["title"]


def edit_address(page) -> str:
    return f"/api/tune/{page.tune('lamp')}/edit"


def test_the_page_itself_may_write_and_everything_carries_the_policy(page):
    before = title(page)
    good = {"version": 1, "edit": {"op": "title", "to": "Mine"}}
    answer = page.post(edit_address(page), good)
    assert answer.status == 200
    assert answer.json()["title"] == "Mine"
    assert page.post(edit_address(page), {"version": 2, "undo": True}).json()["title"] == before
    for path in ("/", "/api/shelf", "/assets/main.js", "/assets/none.js"):
        heads = page.get(path)
        policy = heads.getheader("content-security-policy")
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert "unsafe" not in policy
        assert heads.getheader("x-content-type-options") == "nosniff"
        assert heads.getheader("access-control-allow-origin") is None


@pytest.mark.parametrize(
    "heads",
    [
        {"Origin": "http://evil.example", "Sec_Fetch_Site": "cross-site"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "none"},
        {"Origin": None, "Sec_Fetch_Site": None},
        {"X_Liltwright_Token": None},
        {"X_Liltwright_Token": "0" * 64},
        {"Cookie": None},
        {"Cookie": "liltwright_1=guessed"},
    ],
    ids=str,
)
def test_a_write_that_is_not_ours_is_refused(page, heads):
    before = title(page)
    answer = page.post(edit_address(page), EDIT, **heads)
    assert answer.status == 403
    assert answer.text.endswith((".", "page again."))
    assert title(page) == before


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:80", "127.0.0.1", "localhost:1", "[::1]:80", ""]
)
def test_another_name_for_this_machine_is_refused(page, host):
    """Rebinding: the hostile page's own name now leads to 127.0.0.1."""
    assert page.get("/", Host=host).status == 421
    assert page.post(edit_address(page), EDIT, Host=host).status == 421


def test_two_hosts_in_one_request_are_refused(page):
    with socket.create_connection(("127.0.0.1", page.port), timeout=10) as raw:
        raw.sendall(f"GET / HTTP/1.1\r\nHost: {page.host}\r\nHost: evil.example\r\n\r\n".encode())
        assert b" 200 " not in raw.recv(4096).split(b"\r\n")[0]


def test_nothing_is_told_without_the_key(page):
    for path in ("/", "/api/shelf", f"/api/tune/{page.tune('lamp')}", "/api/player"):
        answer = page.send("GET", path)
        assert answer.status == 403
        assert "Lamp" not in answer.text
        assert page.token not in answer.text
    assert page.send("GET", "/?key=wrong").status == 403
    assert page.send("GET", "/?key=").status == 403


def test_reading_from_another_page_is_refused_too(page):
    for path in ("/api/shelf", "/assets/main.js"):
        assert page.send("GET", path, Cookie=page.cookie, Sec_Fetch_Site="cross-site").status == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_are_refused(page, method):
    """OPTIONS too, so that no browser is told that another origin may write."""
    assert page.send(method, "/api/shelf", Cookie=page.cookie).status == 405


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../app.py", "/assets/..%2fapp.py", "/assets/%2e%2e/app.py", "/assets/index.html",
        "/assets/..%5capp.py", "/assets//etc/passwd", "/api/tune/../../etc/passwd",
        "/api/tune/..%2f..%2fetc", "/api/tune/lamp", "/api/tune/.",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_the_shelf(page, path):
    answer = page.get(path)
    assert answer.status in (404, 422)
    assert "root:" not in answer.text
    assert "import" not in answer.text


def test_a_file_is_asked_for_by_its_listed_name_alone(page):
    tune = page.tune("lamp")
    for name in ("../lamp/tune.abc", "/etc/passwd", ".written.json", "..", "tune.abc/"):
        assert page.get(f"/api/tune/{tune}/file?name={name}").status == 422
    good = page.get(f"/api/tune/{tune}/file?name=tune.abc")
    assert good.status == 200
    assert good.getheader("content-disposition").startswith("attachment")


def test_a_link_out_of_the_folder_is_not_followed(page, tmp_path):
    import liltwright
    from tests.page.conftest import DEMO

    liltwright.write(liltwright.read(DEMO / "tune.abc"), folder=tmp_path / "outside")
    (page.folder / "elsewhere").symlink_to(tmp_path / "outside")
    (page.folder / "secret.abc").symlink_to("/etc/passwd")
    try:
        found = page.get("/api/shelf").json()
        assert [t["name"] for t in found["tunes"]] == ["lamp"]
        assert found["loose"] == []
    finally:
        (page.folder / "elsewhere").unlink()
        (page.folder / "secret.abc").unlink()


def test_a_huge_upload_is_refused_before_it_is_read(page):
    heads = {"Content_Length": str(10**12)}
    with socket.create_connection(("127.0.0.1", page.port), timeout=10) as raw:
        lines = [
            "POST /api/upload?name=a.wav HTTP/1.1", f"Host: {page.host}", f"Cookie: {page.cookie}",
            f"Origin: http://{page.host}", f"X-Liltwright-Token: {page.token}",
            f"Content-Length: {heads['Content_Length']}", "", "",
        ]  # fmt: skip
        raw.sendall("\r\n".join(lines).encode())
        first = raw.recv(4096)
    assert b" 413 " in first.split(b"\r\n")[0]


def test_a_body_that_hides_its_size_is_cut_off(page):
    """Chunked, no length, more than a JSON request may have."""
    with socket.create_connection(("127.0.0.1", page.port), timeout=30) as raw:
        lines = [
            f"POST {edit_address(page)} HTTP/1.1", f"Host: {page.host}", f"Cookie: {page.cookie}",
            f"Origin: http://{page.host}", f"X-Liltwright-Token: {page.token}",
            "Transfer-Encoding: chunked", "", "",
        ]  # fmt: skip
        raw.sendall("\r\n".join(lines).encode())
        piece = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        answer = b""
        try:
            for _ in range(40):
                raw.sendall(piece)
            raw.sendall(b"0\r\n\r\n")
            answer = raw.recv(4096)
        except (BrokenPipeError, ConnectionResetError):
            answer = answer or raw_answer(raw)
    assert b" 200 " not in answer.split(b"\r\n")[0]
    assert page.get("/api/shelf").status == 200


def raw_answer(raw: socket.socket) -> bytes:
    try:
        return raw.recv(4096)
    except OSError:
        return b""


@pytest.mark.parametrize("body", [b"[]", b"{", b"\xff", b"[" * 100_000, b'{"version": NaN}'])
def test_nonsense_is_one_sentence(page, body):
    answer = page.post(edit_address(page), body)
    assert answer.status == 400
    assert answer.json()["error"].endswith(".")


def test_the_address_is_only_on_this_machine(page):
    from liltwright.page.serve import address_in_the_room

    near = address_in_the_room()
    if near is None:
        pytest.skip("no network here")
    with pytest.raises(OSError), socket.create_connection((near, page.port), timeout=2):  # noqa: PT011
        pass


def test_the_code_for_another_device_works_once():
    gate = Gate(5000)
    code = gate.new_code()
    assert len(code.replace("-", "")) == CODE_LENGTH
    assert not gate.takes_code("AAAA-AAAA")
    assert gate.takes_code(code.lower())
    assert not gate.takes_code(code)


def test_the_code_cannot_be_tried_for_long():
    gate = Gate(5000)
    code = gate.new_code()
    for _ in range(MOST_TRIES):
        assert not gate.takes_code("AAAA-AAAA")
    assert not gate.takes_code(code)


def test_a_device_in_the_room_comes_in_with_the_code(tmp_path):
    with Page(tmp_path / "tunes", tmp_path / "settings", "--share") as page:
        said = page.process.stdout.readline()
        if "code" not in said:
            pytest.skip("no network here")
        code = said.split()[-1]
        asked = page.send("GET", "/")
        assert asked.status == 200
        assert "One-time code" in asked.text
        assert page.token not in asked.text
        origin = {"Origin": f"http://{page.host}", "Sec_Fetch_Site": "same-origin"}
        wrong = page.send("POST", "/code", b"code=AAAA-AAAA", **origin)
        assert wrong.status == 403
        right = page.send("POST", "/code", f"code={code}".encode(), **origin)
        assert right.status == 303
        theirs = right.getheader("set-cookie").split(";")[0]
        assert page.send("GET", "/api/shelf", Cookie=theirs).status == 200
        assert page.send("POST", "/code", f"code={code}".encode(), **origin).status == 403
