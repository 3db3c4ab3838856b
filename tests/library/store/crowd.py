"""One of several processes that add to the same store: ``crowd.py FOLDER ADDRESS NUMBER``."""

import importlib.util
import sys
from pathlib import Path

from swingmatch.errors import LibraryError
from swingmatch.library.store import open_store

spec = importlib.util.spec_from_file_location("samples", Path(__file__).with_name("samples.py"))
samples = importlib.util.module_from_spec(spec)
spec.loader.exec_module(samples)

home, url, number = Path(sys.argv[1]), sys.argv[2] or None, sys.argv[3]
there = 0
with open_store(home, url) as store:
    for step in range(3):
        own, shared = f"OWN{number}{step}", f"SHARED{step}"
        store.add(samples.model(own), samples.consent(own), [samples.clip("same film")], on=samples.DAY)
        try:
            store.add(samples.model(shared), samples.consent(shared), [samples.clip(shared)], on=samples.DAY)
        except LibraryError as error:
            if "in the library already" not in str(error):
                raise
            there += 1
        store.tag(shared.lower() + "-0", [f"by {number}"])
    store.forget(f"OWN{number}1")
print(there)
