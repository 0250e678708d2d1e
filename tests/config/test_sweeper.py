"""A real worker in its own processes, over a real database, killed and started again.

The sides: the embedded default (SQLite, the worker is its own bell) always; Redis and
PostgreSQL where their addresses are given (marker ``postgres``).
"""

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pypdfium2
import pytest
import redis


ROOT = Path(__file__).resolve().parents[2]
POSTGRES_URL = os.environ.get("MENDROLL_TEST_DATABASE_URL", "")
REDIS_URL = os.environ.get("MENDROLL_TEST_REDIS_URL", "")
PATIENCE_SECONDS = 250  # below pytest's own bound; a busy machine may need it
wants_servers = pytest.mark.skipif(
    not (POSTGRES_URL and REDIS_URL), reason="no PostgreSQL and Redis given"
)


class House:
    """One house: its data, its settings, its worker."""

    def __init__(self, folder: Path, **settings: str) -> None:
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("MENDROLL_", "DJANGO_", "PYTEST_"))
        }
        self.env = kept | {
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "MENDROLL_DATA": str(folder),
            "MENDROLL_EXTRA_TASKS": "tests.config.worker_tasks",
            "MENDROLL_JOB_LEASE_SECONDS": "3",
            **settings,
        }
        self.database = folder / "mendroll.db"
        self.log = folder / "worker.log"

    def build(self) -> None:
        """Make the tables, and the store that the marks are counted in."""
        self.manage("migrate", "--verbosity", "0")
        self.ask(
            "from dealership.models import Store;"
            "Store.objects.get_or_create(code='MARK', name='Marking')"
        )

    def manage(self, *words: str) -> str:
        done = subprocess.run(  # noqa: S603 (our own words)
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=self.env,
            capture_output=True,
            text=True,
            timeout=PATIENCE_SECONDS,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def ask(self, code: str) -> str:
        """Run a line of code in the house, as its web process would."""
        done = subprocess.run(  # noqa: S603 (our own words)
            [
                sys.executable,
                "-c",
                f"import django; django.setup()\n{code}",
            ],
            cwd=ROOT,
            env=self.env,
            capture_output=True,
            text=True,
            timeout=PATIENCE_SECONDS,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def enqueue(self, kind: str, count: int = 1) -> None:
        arguments = "{'mark_id': n}" if kind == "tests.mark" else "{}"
        self.ask(
            "from django.utils import timezone\n"
            "from dealership.domain.jobs import enqueue\n"
            f"for n in range({count}):\n"
            f"    enqueue(kind={kind!r}, arguments={arguments}, by=None, store=None,\n"
            f"            now=timezone.now(), unique_key=f'{kind}-{{n}}')\n"
        )

    def rows(self, query: str, kind: str = "") -> list[tuple]:
        """Read in the house's database, past all of our code."""
        url = self.env.get("MENDROLL_DATABASE_URL")
        values = (kind,) if kind else ()
        if url:
            with psycopg.connect(url) as connection:
                return connection.execute(query.replace("?", "%s"), values).fetchall()
        with closing(sqlite3.connect(self.database, timeout=20)) as connection:
            return connection.execute(query, values).fetchall()

    def lapse(self) -> None:
        """Let the time of every lease pass."""
        statement = (
            "UPDATE dealership_job SET lease_until = '2020-01-01 00:00:00'"
            " WHERE lease_until IS NOT NULL"
        )
        url = self.env.get("MENDROLL_DATABASE_URL")
        if url:
            with psycopg.connect(url) as connection:
                connection.execute(statement)
            return
        with closing(sqlite3.connect(self.database, timeout=20)) as connection:
            connection.execute(statement)
            connection.commit()

    def states(self, kind: str) -> dict[str, int]:
        return dict(
            self.rows(
                "SELECT state, count(*) FROM dealership_job WHERE kind = ?"
                " GROUP BY state",
                kind,
            )
        )

    def timed(self, kind: str) -> dict[str, str]:
        return dict(
            self.rows(
                "SELECT unique_key, state FROM dealership_job WHERE kind = ?", kind
            )
        )

    def beats(self) -> int:
        return self.rows("SELECT count(*) FROM dealership_workerbeat")[0][0]

    def marks(self) -> list[str]:
        return [
            subject
            for (subject,) in self.rows(
                "SELECT subject FROM dealership_auditentry WHERE act LIKE 'mark.' || ?",
                "%",
            )
        ]

    @contextmanager
    def worker(self, *words: str):
        with self.log.open("ab") as log:
            process = subprocess.Popen(  # noqa: S603 (our own words)
                [
                    *(sys.executable, "-m", "celery", "-A", "config", "worker"),
                    *("--concurrency", "2", "--loglevel", "INFO", *words),
                ],
                cwd=ROOT,
                env=self.env,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        try:
            yield process
        finally:
            if process.poll() is None:
                process.terminate()
                try:
                    process.wait(20)
                except subprocess.TimeoutExpired:
                    kill_group(process)

    def wait_for(self, true, seconds: float = 60) -> None:
        end = time.monotonic() + seconds
        while not true():
            if time.monotonic() > end:
                pytest.fail(self.log.read_text(errors="replace")[-4_000:])
            time.sleep(0.2)


def kill_group(process: subprocess.Popen) -> None:
    """Take the worker and its children down at once, as a power cut would."""
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def all_done(house: House, kind: str, count: int):
    return lambda: house.states(kind) == {"done": count}


def assert_each_once(house: House, count: int) -> None:
    assert sorted(house.marks()) == sorted(f"mark:{n + 1}" for n in range(count))


@pytest.fixture(scope="module")
def built_file(tmp_path_factory):
    """An SQLite database with its tables, to be copied."""
    house = House(tmp_path_factory.mktemp("built"))
    house.build()
    return house.database


@pytest.fixture
def embedded(tmp_path, built_file):
    """A house on the embedded default."""
    house = House(tmp_path)
    with closing(sqlite3.connect(built_file)) as source:  # with what its WAL holds
        source.execute("VACUUM INTO ?", (str(house.database),))
    return house


def database_url(name: str) -> str:
    return urlunsplit(urlsplit(POSTGRES_URL)._replace(path=f"/{name}"))


@contextmanager
def database(name: str, template: str = "template1"):
    """A PostgreSQL database that is dropped again."""
    with psycopg.connect(POSTGRES_URL, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    yield database_url(name)
    with psycopg.connect(POSTGRES_URL, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="module")
def built_database(tmp_path_factory):
    """A PostgreSQL database with its tables, to be copied."""
    name = f"queue_{os.getpid()}_built"
    with database(name) as url:
        folder = tmp_path_factory.mktemp("built")
        House(folder, MENDROLL_DATABASE_URL=url, MENDROLL_REDIS_URL=REDIS_URL).build()
        yield name


@pytest.fixture
def served(tmp_path, built_database):
    """A house on PostgreSQL and Redis, with a database of its own."""
    name = f"queue_{os.getpid()}_{time.monotonic_ns()}"
    with database(name, template=built_database) as url:
        with redis.Redis.from_url(REDIS_URL) as bell:
            bell.flushall()
        yield House(tmp_path, MENDROLL_DATABASE_URL=url, MENDROLL_REDIS_URL=REDIS_URL)


@pytest.mark.committing
def test_killed_in_the_middle_embedded_loses_nothing_and_does_nothing_twice(embedded):
    embedded.enqueue("tests.mark", 200)
    with embedded.worker() as process:
        embedded.wait_for(lambda: embedded.states("tests.mark").get("done", 0) > 20)
        kill_group(process)
    done = embedded.states("tests.mark")["done"]
    assert 20 < done < 200
    with embedded.worker():
        embedded.wait_for(all_done(embedded, "tests.mark", 200))
    assert_each_once(embedded, 200)


@pytest.mark.committing
def test_lost_child_is_replaced_and_its_job_taken_over(embedded):
    embedded.enqueue("tests.fork_again")
    with embedded.worker():
        embedded.wait_for(all_done(embedded, "tests.fork_again", 1))
    assert embedded.rows(
        "SELECT interruptions, attempts FROM dealership_job WHERE kind = ?",
        "tests.fork_again",
    ) == [(1, 0)]


@pytest.mark.committing
def test_nightly_job_is_done_once_the_clock_passes_its_hour(embedded):
    # 04:00 in Chicago on 2026-03-10 is 09:00 UTC: daylight saving time since the 8th.
    embedded.env |= {
        "MENDROLL_TIME_ZONE": "America/Chicago",
        "MENDROLL_TEST_CLOCK": "2026-03-10T03:59:40-05:00",
    }
    before, after = "due 2026-03-09T09:00:00Z", "due 2026-03-10T09:00:00Z"
    kind = "dealership.erase_uploads"
    with embedded.worker():
        embedded.wait_for(lambda: embedded.timed(kind) == {before: "done"})
        embedded.wait_for(lambda: embedded.timed(kind).get(after) == "done")
    assert embedded.timed(kind) == {before: "done", after: "done"}


@pytest.mark.committing
def test_worker_shows_life_and_takes_it_back(embedded):
    with embedded.worker():
        embedded.wait_for(lambda: embedded.beats() == 1)
    assert embedded.beats() == 0


@wants_servers
@pytest.mark.postgres
@pytest.mark.committing
def test_bell_wakes_the_worker_before_the_sweep_would(served):
    with served.worker():
        served.wait_for(lambda: " ready." in served.log.read_text(errors="replace"))
        served.enqueue("tests.mark")
        served.wait_for(all_done(served, "tests.mark", 1))
    # The sweep leaves a new job to the bell for 5 s.
    ((waited,),) = served.rows(
        "SELECT extract(epoch FROM started_at - created_at) FROM dealership_job"
        " WHERE kind = ?",
        "tests.mark",
    )
    assert waited < 2


@wants_servers
@pytest.mark.postgres
@pytest.mark.committing
def test_wiped_queue_loses_nothing(served):
    served.enqueue("tests.mark", 200)
    with served.worker():
        served.wait_for(lambda: served.states("tests.mark").get("done", 0) > 20)
        redis.Redis.from_url(REDIS_URL).flushall()
        assert served.states("tests.mark")["done"] < 200
        served.wait_for(all_done(served, "tests.mark", 200), seconds=90)
    assert_each_once(served, 200)


@wants_servers
@pytest.mark.postgres
@pytest.mark.committing
def test_killed_in_the_middle_with_redis_loses_nothing(served):
    served.enqueue("tests.mark", 200)
    with served.worker() as process:
        served.wait_for(lambda: served.states("tests.mark").get("done", 0) > 20)
        kill_group(process)
    with served.worker():
        served.wait_for(all_done(served, "tests.mark", 200), seconds=90)
    assert_each_once(served, 200)


@wants_servers
@pytest.mark.postgres
@pytest.mark.committing
def test_broker_out_of_reach_does_not_stop_the_asking(served):
    served.env |= {"MENDROLL_REDIS_URL": "redis://127.0.0.1:1/0"}  # nobody there
    served.enqueue("tests.mark")
    assert served.states("tests.mark") == {"waiting": 1}


@wants_servers
@pytest.mark.postgres
@pytest.mark.committing
def test_beat_leaves_timed_jobs_to_the_worker(served, tmp_path):
    log = (tmp_path / "beat.log").open("wb")
    beat = subprocess.Popen(  # noqa: S603 (our own words)
        [
            *(sys.executable, "-m", "celery", "-A", "config", "beat"),
            *("--schedule", str(tmp_path / "beat")),
        ],
        cwd=ROOT,
        env=served.env,
        stdout=log,
        stderr=log,
    )
    try:
        with served.worker():
            served.wait_for(
                lambda: served.states("dealership.erase_uploads") == {"done": 1}
            )
    finally:
        beat.terminate()
        beat.wait(20)
        log.close()
    (key,) = served.timed("dealership.erase_uploads")
    assert re.fullmatch(r"due \d{4}-\d\d-\d\dT\d\d:00:00Z", key)


# A round of letters ----------------------------------------------------------------

LETTERS = 70
A_ROUND = f"""
from django.utils import timezone
from campaigns.management.benches.letters import furnish
from dealership.domain.jobs import enqueue
made = furnish({LETTERS})
enqueue(kind="campaigns.print_round", arguments={{"round_id": made.pk}}, by=None,
        store=made.store, now=timezone.now())
"""
WHAT_CAME = """
import json
from campaigns.models import Letter, LetterFile, LetterRound
print(json.dumps([
    list(Letter.objects.order_by("position").values_list("code", "page")),
    [file.pdf.path for file in LetterFile.objects.all()],
    LetterRound.objects.get().sheets,
]))
"""


def kill_twice_while_letters_are_set(house):
    """Kill the whole worker after two chunks, the next one some chunks later; go on."""
    # The engine renews no lease while it lays out the samples, and a busy machine may
    # take its time for that: a long lease, and after each death it is let lapse.
    house.env |= {
        "MENDROLL_TEST_LETTERS_AT_ONCE": "7",
        "MENDROLL_JOB_LEASE_SECONDS": "120",
    }
    house.ask(A_ROUND)

    def chunks_done():
        return house.rows(
            "SELECT count(*) FROM campaigns_letterchunk WHERE done_at IS NOT NULL"
        )[0][0]

    for chunks in (2, 5):
        with house.worker() as process:
            house.wait_for(lambda least=chunks: chunks_done() >= least, seconds=250)
            kill_group(process)
        assert chunks <= chunks_done() < LETTERS // 7
        house.lapse()
    kind = "campaigns.print_round"
    with house.worker():
        house.wait_for(lambda: house.states(kind) == {"done": 1}, seconds=250)
    assert house.rows(
        "SELECT interruptions, attempts FROM dealership_job WHERE kind = ?", kind
    ) == [(2, 0)]


def assert_each_letter_once(house):
    letters, [path], sheets = json.loads(house.ask(WHAT_CAME).splitlines()[-1])
    with pypdfium2.PdfDocument(path) as paper:
        texts = [page.get_textpage().get_text_range() for page in paper]
    assert len(texts) == sheets == LETTERS == len(letters)
    for code, page in letters:
        assert [n for n, text in enumerate(texts, start=1) if code in text] == [page]


@pytest.mark.timeout(900)
@pytest.mark.committing
def test_killed_twice_every_letter_is_there_once_embedded(embedded):
    kill_twice_while_letters_are_set(embedded)
    assert_each_letter_once(embedded)


@wants_servers
@pytest.mark.timeout(900)
@pytest.mark.postgres
@pytest.mark.committing
def test_killed_twice_every_letter_is_there_once_with_redis(served):
    kill_twice_while_letters_are_set(served)
    assert_each_letter_once(served)
