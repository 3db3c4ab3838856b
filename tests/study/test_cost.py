"""What the command that measures cost measures."""

import subprocess
import sys
import time

import pytest

from swingmatch.study.cost import Cost, memory_watched

MB = 1_000_000


def test_the_ratio_is_the_whole_over_the_bare_model():
    cost = Cost(frames=4000, tracked=800, looks=1000, whole=20.0, bare=16.0, busy=15.0, bare_busy=16.0)
    assert cost.ratio == 1.25
    assert cost.busy_ratio == 0.9375


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is read from /proc")
def test_memory_of_this_process_and_of_one_it_started_is_seen():
    hold = "import time; block = b'x' * 60_000_000; print('ready', flush=True); time.sleep(30)"
    with memory_watched(0.01) as before:
        time.sleep(0.05)
    with memory_watched(0.01) as most:
        child = subprocess.Popen([sys.executable, "-c", hold], stdout=subprocess.PIPE)
        assert child.stdout is not None
        child.stdout.readline()
        block = b"y" * (40 * MB)
        time.sleep(0.1)
        child.kill()
        child.communicate()
    assert len(block) == 40 * MB
    assert before.own > 0
    assert most.own - before.own >= 35 * MB
    assert most.everything - most.own >= 55 * MB
