"""Kills a process at every point at which it changes the disk, and looks at what is left.

Run as a program: ``killed.py FOLDER ADDRESS ACTION EVERY``. A child is made for each point; it does the action and is
killed just before its k-th call to the system that writes, flushes, renames, deletes, makes or cuts a file, or sends
to a server (found by tracing it, so what SQLite does inside counts too). Where a process cannot be traced the points
are the steps that the store itself announces. Prints one line of JSON: how many points, by kind, and what was wrong.
"""

import contextlib
import ctypes
import hashlib
import importlib.util
import json
import os
import platform
import shutil
import signal
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

from swingmatch.library.store import disk, open_store
from swingmatch.players import decisions, keep, players, reviews

spec = importlib.util.spec_from_file_location("samples", Path(__file__).with_name("samples.py"))
samples = importlib.util.module_from_spec(spec)
spec.loader.exec_module(samples)

_TRACEME, _PEEKUSER, _POKEUSER, _SYSCALL, _SETOPTIONS = 0, 3, 6, 24, 0x4200
_NUMBER, _DX, _SI = 8 * 15, 8 * 12, 8 * 13  # places of orig_rax, rdx and rsi in struct user
_CHANGES = {
    **{1: "write", 18: "write", 20: "write", 296: "write", 285: "allocate", 77: "truncate"},
    **{74: "fsync", 75: "fsync", 82: "rename", 264: "rename", 316: "rename", 87: "unlink", 263: "unlink"},
    **{83: "mkdir", 258: "mkdir", 84: "rmdir", 44: "send", 46: "send", 257: "create"},
}
_O_CREAT = 0o100


def traceable():
    """Whether this system lets a process be traced in the way that is built in here."""
    return sys.platform == "linux" and platform.machine() == "x86_64"


def do(action, store):
    if action == "add":
        store.add(samples.model("NEW"), samples.consent("NEW"), [samples.clip("new")], on=samples.DAY)
    elif action == "replace":
        more = samples.model("OLD", 1, swings=(samples.swing(1), samples.swing(2)))
        store.add(more, media=[samples.clip("more")], replaces="old-0", on=samples.DAY)
    elif action == "review":
        keep(store, samples.review("OLD", "new"), on=samples.DAY)
    else:
        store.forget("OLD")


def make_old(home, url):
    """The state before the action, from whatever there is; on SQLite from a copy of the folder."""
    copy = home.with_name(home.name + "-before")
    if url is None and copy.exists():
        shutil.rmtree(home)
        shutil.copytree(copy, home)
        return
    with open_store(home, url) as store:
        have = {(m.id, len(m.media)) for m in store.models(samples.DAY)}
        if have != {("stays-0", 3), ("old-0", 3)}:
            for code in {m.volunteer for m in store.models(samples.DAY)}:
                store.forget(code)
            for code in ("STAYS", "OLD"):
                media = [samples.clip(f"film of {code}"), samples.clip("of both")]
                store.add(samples.model(code), samples.consent(code), media, on=samples.DAY)
        for code in ("STAYS", "OLD"):
            there = {one.clip: one.id for one in reviews(store, code)}
            store.remove_reviews([id for clip, id in there.items() if clip != "CLIP-old.mp4"])
            if "CLIP-old.mp4" not in there:
                samples.keep_review(store, code, "old")
    if url is None:
        shutil.copytree(home, copy)


def state(home, url):
    """Everything that can be seen of a store, and the sentences on what is wrong with it."""
    with open_store(home, url) as store:
        wrong = store.check()
        seen = {
            "models": repr(store.models(samples.DAY)),
            "consents": repr(store.consents()),
            "players": repr(players(store)),
            "reviews": [
                (one.player, one.clip, str(one.document), repr(one.numbers))
                for player in players(store)
                for one in reviews(store, player.code)
            ],
            "decisions": repr([replace(one, review=None) for one in decisions(store)]),
            "features": sorted(store.features().ids),
        }
        files = {}
        for path in sorted(home.rglob("*")):
            name = str(path.relative_to(home))
            if path.is_dir() or name.startswith("library.sqlite"):
                continue
            data = path.read_bytes() if name.startswith("media") else b""
            files[name] = hashlib.sha256(data).hexdigest()
        seen["files"] = files
        parts = [p for p in files if p.startswith("pending") or p.endswith((".part", ".writing"))]
        wrong += [f"{p} is left over" for p in parts]
    return seen, wrong


def traced(work, at):
    """Run ``work`` in a child and kill it before its change number ``at``; the kinds of changes it came to."""
    libc = ctypes.CDLL(None, use_errno=True)
    libc.ptrace.restype = ctypes.c_long
    libc.ptrace.argtypes = [ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]
    child = os.fork()
    if child == 0:
        status = 1
        with contextlib.suppress(BaseException):
            store = open_store(*work[1:])
            libc.ptrace(_TRACEME, 0, None, None)
            os.kill(os.getpid(), signal.SIGSTOP)
            do(work[0], store)
            status = 0
        os._exit(status)
    os.waitpid(child, 0)
    libc.ptrace(_SETOPTIONS, child, None, 1)
    changes, entering, deliver = [], True, 0
    while True:
        libc.ptrace(_SYSCALL, child, None, deliver)
        _, status = os.waitpid(child, 0)
        if os.WIFEXITED(status) or os.WIFSIGNALED(status):
            if at is None:
                assert os.WIFEXITED(status), "the child was killed by something else"
                assert os.WEXITSTATUS(status) == 0, "the action failed"
            return changes
        stop = os.WSTOPSIG(status)
        deliver = 0
        if stop != signal.SIGTRAP | 0x80:
            deliver = stop
            continue
        if entering:
            number = libc.ptrace(_PEEKUSER, child, _NUMBER, None)
            kind = _CHANGES.get(number)
            if kind == "create" and not libc.ptrace(_PEEKUSER, child, _DX, None) & _O_CREAT:
                kind = None
            if kind is not None:
                changes.append(kind)
                if len(changes) == at:
                    libc.ptrace(_POKEUSER, child, _NUMBER, -1)  # so that this one is not done any more
                    os.kill(child, signal.SIGKILL)
                    os.waitpid(child, 0)
                    return changes
        entering = not entering


def announced(work, at):
    """The same by the steps that the store announces."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        status = 1
        with contextlib.suppress(BaseException):
            store = open_store(*work[1:])
            steps = []

            def watch(name):
                steps.append(name)
                if len(steps) == at:
                    os.kill(os.getpid(), signal.SIGKILL)

            disk.watch = watch
            do(work[0], store)
            os.write(writing, json.dumps(steps).encode())
            status = 0
        os._exit(status)
    os.close(writing)
    with os.fdopen(reading, "rb") as file:
        said = file.read()
    _, status = os.waitpid(child, 0)
    if at is None:
        assert os.waitstatus_to_exitcode(status) == 0, "the action failed"
        return json.loads(said)
    assert os.WIFSIGNALED(status), "the child was not killed"
    return []


def main(home, url, action, every, how):
    home, url, every = Path(home), url or None, int(every)
    run = traced if how == "traced" else announced
    work = (action, home, url)
    make_old(home, url)
    old, wrong = state(home, url)
    assert not wrong, wrong
    kinds = run(work, None)
    new, wrong = state(home, url)
    assert not wrong, wrong
    assert new != old
    outcome, problems = Counter(), []
    # With the last, so that the new state is among them however coarse the points are.
    points = sorted({*range(1, len(kinds) + 1, every), len(kinds)})
    for at in points:
        make_old(home, url)
        run(work, at)
        after, wrong = state(home, url)
        outcome["old" if after == old else "new" if after == new else "neither"] += 1
        if wrong or after not in (old, new):
            problems.append(f"at {at} ({kinds[at - 1]}): {wrong or 'a state in between'}")
    print(
        json.dumps(
            {
                "points": len(kinds),
                "tried": len(points),
                "kinds": Counter(kinds),
                "outcome": outcome,
                "problems": problems[:5],
            }
        )
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
