"""Several processes on one store at once, from its creation on."""

import subprocess
import sys
from pathlib import Path

from swingmatch.library.store import open_store

SCRIPT = Path(__file__).with_name("crowd.py")


def test_four_processes_add_and_remove_at_once(place, samples):
    home, url = place
    running = [
        subprocess.Popen(
            [sys.executable, str(SCRIPT), str(home), url or "", str(number)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(4)
    ]
    said = [process.communicate(timeout=120) for process in running]
    assert [p.returncode for p in running] == [0] * 4, said
    # Each of the three shared models was new to one process and there already for three.
    assert sum(int(out) for out, _ in said) == 9
    with open_store(home, url) as store:
        assert store.check() == []
        own = {f"own{n}{s}-0" for n in range(4) for s in (0, 2)}
        models = {m.id: m for m in store.models(samples.DAY)}
        assert set(models) == own | {f"shared{s}-0" for s in range(3)}
        assert sorted(store.features().ids) == sorted(models)
        assert models["shared1-0"].tags == {f"by {n}" for n in range(4)}
        # "same film" went with whoever forgot last; others' models keep their swings.
        assert all(any(m.kind == "swings" for m in model.media) for model in models.values())
