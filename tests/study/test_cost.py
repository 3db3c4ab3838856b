"""What the command that measures cost measures."""

import subprocess
import sys

import pytest

from swingmatch.study.cost import Cost

MB = 1_000_000


def test_the_ratio_is_the_whole_over_the_bare_model():
    cost = Cost(frames=4000, tracked=800, looks=1000, whole=20.0, bare=16.0, busy=15.0, bare_busy=16.0)
    assert cost.ratio == 1.25
    assert cost.busy_ratio == 0.9375


#: Run in a process of its own, so that nothing else that a test run holds and lets go is in the figures.
WATCHED = """
import subprocess, sys, time
from swingmatch.study.cost import memory_watched

hold = "import time; block = b'x' * 60_000_000; print('ready', flush=True); time.sleep(60)"
with memory_watched(0.01) as before:
    time.sleep(0.05)
with memory_watched(0.01) as most:
    child = subprocess.Popen([sys.executable, "-c", hold], stdout=subprocess.PIPE)
    child.stdout.readline()
    block = b"y" * 40_000_000
    late = time.monotonic() + 10.0  # some systems count pages a moment later
    while most.own - before.own < 35e6 and time.monotonic() < late:
        time.sleep(0.05)
    time.sleep(0.1)
    child.kill()
    child.communicate()
print(before.own, most.own, most.everything, len(block))
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is read from /proc")
def test_memory_of_this_process_and_of_one_it_started_is_seen():
    found = subprocess.run([sys.executable, "-c", WATCHED], capture_output=True, text=True, check=True)
    before, own, everything, _ = (int(word) for word in found.stdout.split())
    assert before > 0
    assert own - before >= 35 * MB
    assert everything - own >= 55 * MB
