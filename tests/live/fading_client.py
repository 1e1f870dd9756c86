"""Hand a three-second fade from 20 to 220 to the keeper, say so, and hang about to be killed."""

import sys
import time

from server.live.keeper_link import KeeperOutput
from tests.live.keeper_process import now_ramp

output = KeeperOutput(sys.argv[1])
output.play(now_ramp(float(sys.argv[2]), 20, 220))
time.sleep(0.05)
print("playing", flush=True)
time.sleep(60)
