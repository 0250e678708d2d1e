"""The house as it really runs: web server, worker, database; and people at a browser."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import expect, sync_playwright


ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "grain-lantern-88"
READY_SECONDS = 90
PATIENCE_MS = 60_000
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# One store, and one person for each kind of work.
CAST = f"""
from dealership.models import Post, StaffMember, Store
from dealership.rules.roles import Role
store = Store.objects.create(code="TAR", name="Tarn Street Motors",
    street="4 Tarn Street", city="Upper Tarn", region="OH", postal_code="00191",
    phone="555-0144", letter_signed_by="Ida Marsh", labour_rate_cents=14250)
for role in Role:
    person = StaffMember(username=role.value, first_name="Ada", last_name=role.value)
    person.set_password({PASSWORD!r})
    person.save()
    Post.objects.create(staff=person, store=store, role=role)
"""


class House:
    """Web server and worker in their own processes over a folder of data."""

    def __init__(self, folder: Path, **settings: str) -> None:
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("MENDROLL_", "DJANGO_", "PYTEST_"))
        }
        self.env = kept | {
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "MENDROLL_DATA": str(folder),
            "MENDROLL_DEBUG": "yes",
            **settings,
        }
        self.folder = folder
        self.port = _free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.running: list[subprocess.Popen[bytes]] = []

    def build(self) -> None:
        """Make the tables and the cast."""
        self._run("manage.py", "migrate", "--verbosity", "0")
        self._run("-c", f"import django; django.setup()\n{CAST}")

    def start(self) -> None:
        """Start the server and the worker, and wait until the door opens."""
        web = f"-m gunicorn config.wsgi --worker-class gthread --threads 4 --bind 127.0.0.1:{self.port}"
        self._start("web", web.split())
        self._start(
            "worker", ["-m", "celery", "-A", "config", "worker", "--concurrency", "1"]
        )
        deadline = time.monotonic() + READY_SECONDS
        while time.monotonic() < deadline:
            try:
                urllib.request.urlopen(f"{self.address}/accounts/login/", timeout=5)  # noqa: S310
            except OSError:
                time.sleep(0.2)
            else:
                return
        raise AssertionError((self.folder / "web.log").read_text()[-3000:])

    def stop(self) -> None:
        """Stop both, with their children."""
        for one in self.running:
            os.killpg(one.pid, signal.SIGTERM)
        for one in self.running:
            try:
                one.wait(timeout=15)
            except subprocess.TimeoutExpired:
                os.killpg(one.pid, signal.SIGKILL)

    def _run(self, *words: str) -> None:
        done = subprocess.run(  # noqa: S603 (our own words)
            [sys.executable, *words],
            cwd=ROOT,
            env=self.env,
            capture_output=True,
            text=True,
            timeout=240,
            check=False,
        )
        assert done.returncode == 0, done.stderr

    def _start(self, name: str, words: list[str]) -> None:
        with (self.folder / f"{name}.log").open("wb") as log:
            self.running.append(
                subprocess.Popen(  # noqa: S603 (our own words)
                    [sys.executable, *words],
                    cwd=ROOT,
                    env=self.env,
                    stdout=log,
                    stderr=log,
                    start_new_session=True,
                )
            )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def browser():
    """Start the system's own Chromium."""
    with sync_playwright() as tools:
        path = os.environ.get("MENDROLL_BROWSER") or "/usr/bin/chromium"
        started = tools.chromium.launch(executable_path=path, args=FLAGS)
        yield started
        started.close()


class Person:
    """Somebody who is signed in, and what they do at the screen."""

    def __init__(self, started, house: House, name: str) -> None:
        self.house = house
        self.faults: list[str] = []
        context = started.new_context(
            viewport={"width": 1366, "height": 900}, accept_downloads=True
        )
        self.page = context.new_page()
        self.page.set_default_timeout(PATIENCE_MS)
        self.page.on("console", self._note)
        self.go("/accounts/login/")
        self.page.fill("input[name=login]", name)
        self.page.fill("input[name=password]", PASSWORD)
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(lambda url: "login" not in url)

    def _note(self, message) -> None:
        if message.type == "error":
            self.faults.append(f"{self.page.url}: {message.text}")

    def go(self, path: str) -> None:
        """Open an address of the house."""
        self.page.goto(f"{self.house.address}{path}")

    def follow(self, words: str) -> None:
        """Follow the first link with these words."""
        self.page.get_by_role("link", name=words).first.click()
        self.page.wait_for_load_state()

    def press(self, words: str, within=None) -> None:
        """Press the button with these words."""
        (within or self.page).get_by_role("button", name=words).first.click()
        self.page.wait_for_load_state()

    def form(self, button: str):
        """Give the form that this button sends."""
        return (
            self.page.locator("form")
            .filter(
                has=self.page.get_by_role("button", name=button, include_hidden=True)
            )
            .first
        )

    def send(self, button: str, **fields: object) -> None:
        """Fill the fields of a form by name, then press its button."""
        form = self.form(button)
        fold = form.locator("xpath=ancestor::details[not(@open)]")
        if fold.count():
            fold.first.locator("summary").first.click()
        for name, value in fields.items():
            put(form.locator(f"[name='{name}']"), value)
        form.get_by_role("button", name=button).first.click()
        self.page.wait_for_load_state()

    def reads(self, words: str) -> None:
        """See these words on the page."""
        expect(self.page.locator("main")).to_contain_text(words)

    def waits_for(self, words: str) -> None:
        """Load the page again until these words are there."""
        deadline = time.monotonic() + 120
        while words not in self.page.locator("main").inner_text():
            assert time.monotonic() < deadline, self.page.locator("main").inner_text()
            self.page.wait_for_timeout(500)
            self.page.reload()

    def text(self) -> str:
        """Read the page."""
        return str(self.page.locator("main").inner_text())

    def fetches(self, words: str) -> bytes:
        """Download what a link gives."""
        with self.page.expect_download() as waiting:
            self.page.get_by_role("link", name=words).first.click()
        return Path(waiting.value.path()).read_bytes()


def put(field, value: object) -> None:
    """Put a value into a field, whatever kind it is."""
    first = field.first
    kind = first.get_attribute("type")
    if first.evaluate("one => one.tagName") == "SELECT":
        first.select_option(str(value))
    elif kind == "file":
        first.set_input_files(value)
    elif kind in {"checkbox", "radio"}:
        if isinstance(value, bool):
            first.set_checked(value)
        else:
            field.locator(f"xpath=self::*[@value='{value}']").check()
    else:
        first.fill(str(value))
