"""``python -m tests.simulation [--size small|full] [--seed N] [--log FILE]``: play, audit, tell.

Plays on a throw-away database of the kind that the settings name (SQLite, or PostgreSQL
by MENDROLL_DATABASE_URL) and prints, last, one line of JSON. Ends with 1 where the
auditor found a difference.
"""

import argparse
import json
import os
import sys
import time
from pathlib import Path

import django


def main() -> int:
    """Play once; give the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation")
    parser.add_argument("--size", choices=("small", "full"), default="small")
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--log", type=Path, help="keep the exported log here, as JSON")
    chosen = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from campaigns.management.benches.measuring import throw_away_house  # noqa: PLC0415
    from tests.simulation.life import SEED, play  # noqa: PLC0415 (models are known now)

    start = time.process_time()
    with throw_away_house():
        played = play(
            chosen.size,
            seed=SEED if chosen.seed is None else chosen.seed,
            tell=lambda words: print(words, file=sys.stderr),
        )
    if chosen.log:
        chosen.log.write_text(json.dumps(played.log.tables, default=str), "utf-8")
    told = played.told() | {"cpu_seconds": round(time.process_time() - start, 1)}
    print(json.dumps(told))
    return 1 if played.differences else 0


if __name__ == "__main__":
    sys.exit(main())
