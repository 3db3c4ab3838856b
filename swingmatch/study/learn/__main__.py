"""``python -m swingmatch.study.learn``: train the network that ``body.reading`` runs; see the package's docstring."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import swingmatch.body
from swingmatch.errors import SetupError, SwingmatchError
from swingmatch.progress import Bar
from swingmatch.study.learn.examples import describe, fold_of, gather
from swingmatch.study.learn.settings import LearnSettings
from swingmatch.study.run import processes

_WEIGHTS = Path(swingmatch.body.__file__).with_name("reading.npz")


def _words(words: Sequence[str] | None) -> argparse.Namespace:
    usual = LearnSettings()
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.learn", description=__doc__)
    parser.add_argument(
        "--clips", type=Path, required=True, help="folder of the study's clips; what is missing is made in it"
    )
    parser.add_argument("--mocap", type=Path, help="learn from the motion capture in this folder too")
    parser.add_argument(
        "--count", type=int, default=usual.clips, help=f"generated clips (default: {usual.clips})"
    )
    parser.add_argument("--steps", type=int, default=usual.steps, help=f"default: {usual.steps}")
    parser.add_argument(
        "--batch", type=int, default=usual.batch, help=f"examples in a step (default: {usual.batch})"
    )
    parser.add_argument(
        "--fold",
        type=int,
        choices=range(usual.folds),
        help="leave this part of the clips out and print the errors on it; nothing is written without --out",
    )
    parser.add_argument("--out", type=Path, help="where to write (default: the weights that the tool uses)")
    parser.add_argument("--workers", type=int, default=2, help="processes (default: 2)")
    return parser.parse_args(words)


def need_torch() -> None:
    """Raise ``SetupError`` where PyTorch is missing: only the training needs it."""
    if find_spec("torch") is None:
        raise SetupError("Training needs PyTorch, which is missing: run pip install 'swingmatch[learn]'.")


def main(words: Sequence[str] | None = None) -> None:
    """Train, print errors and write the weights."""
    said = _words(words)
    try:
        need_torch()
        _run(said)
    except SwingmatchError as error:
        raise SystemExit(str(error)) from None


def _run(said: argparse.Namespace) -> None:
    # PyTorch is there only by now.
    import torch

    from swingmatch.study.learn.augment import Clips
    from swingmatch.study.learn.network import save
    from swingmatch.study.learn.quality import quality
    from swingmatch.study.learn.train import train

    settings = replace(LearnSettings(), clips=said.count, steps=said.steps, batch=said.batch)
    with processes(said.workers) as executor:
        examples = gather(said.clips, said.mocap, settings, executor, Bar())
    print(describe(examples))
    clips = Clips(examples, "cuda" if torch.cuda.is_available() else "cpu")
    out_of = torch.as_tensor(fold_of(len(clips), settings), device=clips.device)
    left_out = out_of == (-1 if said.fold is None else said.fold)
    pool = torch.nonzero(~left_out)[:, 0]
    network, losses = train(clips, pool, settings, Bar())
    tenth = max(len(losses) // 10, 1)
    print(f"loss {sum(losses[:tenth]) / tenth:.2f} at first, {sum(losses[-tenth:]) / tenth:.2f} at last")
    for what, chosen in (("learnt from", ~left_out), ("left out", left_out)):
        for whose, kind in (("generated", ~clips.recorded), ("recorded", clips.recorded)):
            which = torch.nonzero(chosen & kind)[:, 0]
            if len(which):
                print(f"{what}, {whose}: {quality(network, clips, which, settings)}")
    path = said.out or (None if said.fold is not None else _WEIGHTS)
    if path:
        save(network, path)
        print(f"Written: {path.name}")


if __name__ == "__main__":
    main()
