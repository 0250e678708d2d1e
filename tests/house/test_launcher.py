"""The launcher: its verbs, its stamp, what it prints when it may not install."""

import argparse
import importlib.machinery
import importlib.util
import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from tests import services


ROOT = Path(__file__).resolve().parents[2]
VERBS = ["demo", "serve", "check", "fix", "bench", "prove", "test", "manage"]


@pytest.fixture
def launcher() -> ModuleType:
    loader = importlib.machinery.SourceFileLoader("launcher", str(ROOT / "mendroll"))
    spec = importlib.util.spec_from_loader("launcher", loader)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["launcher"] = module  # where dataclasses look up the annotations
    loader.exec_module(module)
    return module


def run_launcher(
    *words: str, root: Path = ROOT, **env: str
) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(  # noqa: S603 - our own launcher
        [sys.executable, str(root / "mendroll"), *words],
        env={"HOME": str(root), "MENDROLL_APT": "no", **env},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


# The verbs -------------------------------------------------------------------


def test_help_lists_every_verb_with_one_line():
    told = run_launcher("--help", COLUMNS="80")
    lines = re.findall(r"^    ([a-z]+) +(\S.*)$", told.stdout, flags=re.MULTILINE)
    assert [name for name, _ in lines] == VERBS
    assert all(line.endswith(".") for _, line in lines)
    assert told.returncode == 0


def test_readme_and_developers_name_the_verbs_that_there_are():
    """Both ways: no verb is unknown to the reader, none is promised in vain."""
    papers = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
    text = "\n".join(paper.read_text(encoding="utf-8") for paper in papers)
    named = set(re.findall(r"\./mendroll ([a-z]+)", text))
    assert named == set(VERBS)


def test_unknown_verb_is_refused_with_the_list():
    told = run_launcher("fly")
    assert told.returncode == 2
    # Python 3.11 puts each choice in quotes, 3.13 does not.
    assert f"(choose from {', '.join(VERBS)})" in told.stderr.replace("'", "")


def test_defaults_of_the_verbs(launcher):
    demo = launcher.parser().parse_args(["demo"])
    bench = launcher.parser().parse_args(["bench", "letters"])
    serve = launcher.parser().parse_args(["serve", "--host", "::", "--workers", "7"])
    assert (demo.host, demo.port, demo.seed) == ("127.0.0.1", 8000, 1)
    assert (bench.name, bench.size) == ("letters", "small")
    assert (serve.host, serve.port, serve.workers) == ("::", 8000, 7)


@pytest.mark.parametrize(
    ("asked", "given"), [("1", {"PYTHONPYCACHEPREFIX": "bytecode"}), ("", {})]
)
def test_what_python_compiled_is_kept_in_the_environment_only(
    launcher, monkeypatch, asked, given
):
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", asked)
    monkeypatch.delenv("PYTHONPYCACHEPREFIX", raising=False)
    launcher.keep_bytecode()
    names = {"PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX"}
    left = {name: Path(os.environ[name]) for name in names & os.environ.keys()}
    assert left == {name: launcher.VENV / folder for name, folder in given.items()}


# Installing ------------------------------------------------------------------


@pytest.fixture
def bare_root(tmp_path):
    """A clone on a machine whose Python cannot make environments (Debian's way)."""
    for name in ("mendroll", "requirements.lock", "requirements-uv.lock"):
        (tmp_path / name).write_bytes((ROOT / name).read_bytes())
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "sitecustomize.py").write_text(
        "import sys; sys.modules['ensurepip'] = None"
    )
    return tmp_path


def test_without_apt_the_exact_line_is_printed_and_nothing_is_made(bare_root):
    told = run_launcher(
        "manage",
        "check",
        root=bare_root,
        PATH=str(bare_root),
        PYTHONPATH=str(bare_root / "site"),
    )
    sudo = "" if os.geteuid() == 0 else "sudo "
    package = f"python3.{sys.version_info[1]}-venv"
    install = f"{sudo}apt-get install --yes --no-install-recommends {package}"
    assert f"\n  {sudo}apt-get update && {install}" in told.stderr
    assert told.returncode == 2
    assert not (bare_root / ".venv").exists()


@pytest.mark.parametrize(("euid", "sudo"), [(0, ""), (1000, "sudo ")])
def test_line_to_type_fits_the_person(launcher, monkeypatch, euid, sudo):
    monkeypatch.setattr(os, "geteuid", lambda: euid)
    install = f"{sudo}apt-get install --yes --no-install-recommends a b"
    assert launcher.apt_line(["a", "b"]) == f"{sudo}apt-get update && {install}"


def test_apt_can_be_forbidden(launcher, monkeypatch):
    monkeypatch.setenv("MENDROLL_APT", "no")
    assert launcher.apt_prefix() is None


@pytest.fixture
def installed(launcher, monkeypatch, tmp_path):
    """A stamped environment: the lock, and the stamp that names it."""
    lock = tmp_path / "requirements.lock"
    lock.write_text("one==1\n")
    stamp = tmp_path / "installed"
    stamp.write_text(f"{launcher.fingerprint(lock)}\n")
    monkeypatch.setattr(launcher, "STAMP", stamp)
    monkeypatch.setattr(launcher, "PYTHON", Path(sys.executable))
    return lock, stamp


def test_stamped_lock_is_not_installed_again(launcher, installed):
    lock, _stamp = installed
    assert launcher.is_installed(lock)


def test_changed_lock_is_installed_again(launcher, installed):
    lock, _stamp = installed
    lock.write_text("one==2\n")
    assert not launcher.is_installed(lock)


def test_missing_stamp_is_installed_again(launcher, installed):
    lock, stamp = installed
    stamp.unlink()
    assert not launcher.is_installed(lock)


def test_environment_whose_python_is_gone_is_made_again(
    launcher, installed, monkeypatch, tmp_path
):
    lock, _stamp = installed
    monkeypatch.setattr(launcher, "PYTHON", tmp_path / "gone")
    assert not launcher.is_installed(lock)


def test_image_holds_the_packages_that_the_launcher_names(launcher):
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    words = text.partition("--no-install-recommends")[2].partition("&&")[0].split()
    assert [word for word in words if word != "\\"] == [
        native.package for native in launcher.NATIVE
    ]


def test_test_lock_holds_the_other_lock_at_the_same_versions():
    """The stamp of the test lock counts for both."""
    pins = re.compile(r"^[a-z0-9-]+==[^ ]+", flags=re.MULTILINE)
    both = [
        set(pins.findall((ROOT / name).read_text(encoding="utf-8")))
        for name in ("requirements.lock", "requirements-test.lock")
    ]
    assert both[0] - both[1] == set()


# Serving ---------------------------------------------------------------------


def test_held_port_is_refused_by_number(launcher):
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = holder.getsockname()[1]
        with pytest.raises(launcher.Stop, match=f"--port {port + 1}$"):
            launcher.need_port("127.0.0.1", port)


def household(launcher, folder, grace=10):
    return launcher.Household(folder, grace)


def test_process_that_ends_by_itself_is_named_with_its_last_words(launcher, tmp_path):
    home = household(launcher, tmp_path)
    home.start(
        "worker", [sys.executable, "-c", "print('no room'); raise SystemExit(3)"]
    )
    home.members["worker"].wait(30)
    with pytest.raises(launcher.Stop, match=r"(?s)worker has ended.*no room"):
        home.check()
    home.stop()


def test_stop_ends_all_of_them(launcher, tmp_path):
    home = household(launcher, tmp_path)
    for name in ("web", "worker"):
        home.start(name, [sys.executable, "-c", "import time; time.sleep(60)"])
    home.stop()
    codes = [member.returncode for member in home.members.values()]
    assert codes == [-signal.SIGTERM, -signal.SIGTERM]


def test_stop_kills_what_does_not_listen(launcher, tmp_path):
    home = household(launcher, tmp_path, grace=0.2)
    deaf = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN)"
    home.start(
        "web",
        [sys.executable, "-c", f"{deaf}; print('up', flush=True)\ntime.sleep(60)"],
    )
    while "up" not in home.log("web").read_text(encoding="utf-8"):
        time.sleep(0.05)
    home.stop()
    assert home.members["web"].returncode == -signal.SIGKILL


def test_answer_of_any_kind_means_that_the_server_is_up(launcher, tmp_path):
    home = household(launcher, tmp_path)
    port = services.free_port()
    words = ["-m", "http.server", "--bind", "127.0.0.1", str(port)]
    home.start("web", [sys.executable, *words])
    try:
        home.wait_for_answer("127.0.0.1", port)
    finally:
        home.stop()
    assert '"GET / HTTP/1.1"' in home.log("web").read_text(encoding="utf-8")


# Testing ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "joined"),
    [
        ([], ["-m", "(not postgres)"]),
        (["-k", "vin"], ["-m", "(not postgres)", "-k", "vin"]),
        (
            ["tests/vehicles", "-m", "browser or committing"],
            ["-m", "(not postgres) and (browser or committing)", "tests/vehicles"],
        ),
    ],
)
def test_marks_of_both_sides_hold(launcher, words, joined):
    assert launcher.split_marks(words, ["not postgres"]) == joined


def test_tests_never_see_your_own_servers_or_data(launcher, monkeypatch):
    monkeypatch.setenv("MENDROLL_DATABASE_URL", "postgres://real")
    monkeypatch.setenv("MENDROLL_REDIS_URL", "redis://real")
    monkeypatch.setenv("MENDROLL_DATA", "/real")
    monkeypatch.setenv("MENDROLL_TEST_DATABASE_URL", "postgres://for-tests")
    with launcher.apart() as env:
        folder = Path(env["MENDROLL_DATA"])
        assert folder.is_dir()
        assert "MENDROLL_DATABASE_URL" not in env
        assert "MENDROLL_REDIS_URL" not in env
        assert env["MENDROLL_TEST_DATABASE_URL"] == "postgres://for-tests"
    assert not folder.exists()


@pytest.mark.parametrize(
    ("told", "code"),
    [
        (([], [], "true"), 0),
        (([], ["the tests in a browser"], ""), 0),
        (([], ["the tests in a browser"], "true"), 1),
        ((["check of lint"], [], ""), 1),
    ],
)
def test_leaving_out_is_said_and_fails_only_in_ci(
    launcher, monkeypatch, capsys, told, code
):
    failed, left_out, ci = told
    monkeypatch.setenv("CI", ci)
    assert launcher.verdict(failed, left_out) == code
    lines = capsys.readouterr().err.splitlines()
    assert lines[: len(left_out)] == [f"LEFT OUT: {what}" for what in left_out]
    assert [f"FAILED: {what}" for what in failed] == lines[len(left_out) :][
        : len(failed)
    ]


def test_browser_given_by_a_wrong_path_is_refused(launcher, monkeypatch, tmp_path):
    monkeypatch.setenv("MENDROLL_BROWSER", str(tmp_path / "none"))
    with pytest.raises(launcher.Stop, match="no program is there") as refused:
        launcher.browser()
    assert refused.value.code == 2


def test_bench_and_parser_speak_the_same_sizes(launcher):
    with pytest.raises(SystemExit):
        launcher.parser().parse_args(["bench", "letters", "--size", "huge"])
    full = launcher.parser().parse_args(["bench", "letters", "--size", "full"])
    assert isinstance(full, argparse.Namespace)
    assert full.size == "full"


# Servers for the tests -------------------------------------------------------


def test_given_servers_are_not_missing():
    given = {services.DATABASE: "postgres://given", services.REDIS: "redis://given"}
    assert services.missing(given) == []


def bare_environment() -> dict[str, str]:
    hidden = {services.DATABASE, services.REDIS}
    return {name: value for name, value in os.environ.items() if name not in hidden}


def answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


ASK = """
import os, psycopg, redis
database = psycopg.connect(os.environ["MENDROLL_TEST_DATABASE_URL"])
queue = redis.from_url(os.environ["MENDROLL_TEST_REDIS_URL"])
folder = database.execute("show data_directory").fetchone()[0]
ports = [database.info.port, queue.connection_pool.connection_kwargs["port"]]
fsync = database.execute("show fsync").fetchone()[0]
print(queue.ping(), fsync, *ports, folder, flush=True)
"""


def up_and_known(line: str) -> tuple[list[int], Path]:
    ping, fsync, database, queue, folder = line.split()
    assert (ping, fsync) == ("True", "on")
    return [int(database), int(queue)], Path(folder)


@pytest.mark.postgres
def test_servers_are_there_for_the_child_and_gone_after_it():
    words = [sys.executable, "-m", "tests.services", "run", "--"]
    told = subprocess.run(  # noqa: S603 - our own words
        [*words, sys.executable, "-c", f"{ASK}\nraise SystemExit(7)"],
        cwd=ROOT,
        env=bare_environment(),
        capture_output=True,
        text=True,
        check=False,
    )
    ports, folder = up_and_known(told.stdout)
    assert told.returncode == 7
    assert [answers(port) for port in ports] == [False, False]
    assert not folder.parent.exists()


@pytest.mark.postgres
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_servers_are_gone_after_an_interruption(number):
    words = [sys.executable, "-m", "tests.services", "run", "--"]
    running = subprocess.Popen(  # noqa: S603 - our own words
        [*words, sys.executable, "-c", f"{ASK}\nimport time; time.sleep(60)"],
        cwd=ROOT,
        env=bare_environment(),
        stdout=subprocess.PIPE,
        text=True,
    )
    with running:
        assert running.stdout is not None
        ports, folder = up_and_known(running.stdout.readline())
        assert [answers(port) for port in ports] == [True, True]
        running.send_signal(number)
    assert running.returncode == 130
    assert [answers(port) for port in ports] == [False, False]
    assert not folder.parent.exists()
