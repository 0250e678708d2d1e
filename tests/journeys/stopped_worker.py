"""A worker of the queue whose clock stands: ``… stopped_worker MOMENT -A config worker``.

So nothing falls due meanwhile, and a job is begun because the bell rang for it, not
because a sweep found it later. The clock stops before the worker forks its children.
"""

import sys
from datetime import datetime

import time_machine
from celery.__main__ import main


if __name__ == "__main__":
    moment = datetime.fromisoformat(sys.argv.pop(1))
    time_machine.travel(moment, tick=False).start()
    main()
