"""Run the crowd or the kills as a program of its own, on the database of the settings.

``python -m tests.proofs.apart crowd how=processes workers=32 seconds=60 seed=1`` or
``... kills kills=200 seed=1`` prints, last, one line of JSON with the figures; ``seed`` is that of the random numbers.
"""

import json
import os
import sys
from importlib import import_module

import django


def main(words: list[str]) -> None:
    """Load the application once; what is forked from here has it already."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings_test")
    django.setup()
    name, *facts = words
    module = import_module(f"tests.proofs.{name}")
    said = dict(fact.split("=", 1) for fact in facts)
    wanted = {key: int(one) if one.isdecimal() else one for key, one in said.items()}
    print(json.dumps(module.run(**wanted)))


if __name__ == "__main__":
    main(sys.argv[1:])
