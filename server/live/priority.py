"""A place before all others at the processor, for the process that holds the light."""

import os
import resource

_SPINS_AT_MOST_US = 2_000_000


def served_first() -> bool:
    """Ask the system to serve this process before all others, so that frames leave on their moment
    whatever else the machine draws or reckons. Needs the right to (root, or an rtprio limit);
    without it the keeper works as well as the machine lets it.

    Round robin, lowest real-time priority. Should a fault ever make it spin, it is killed after so
    much time without a pause, and its parent starts it again.
    """
    try:
        resource.setrlimit(resource.RLIMIT_RTTIME, (_SPINS_AT_MOST_US, _SPINS_AT_MOST_US))
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
    except (OSError, ValueError):
        return False
    return True
