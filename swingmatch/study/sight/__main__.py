"""``python -m swingmatch.study.sight``: train the network that ``racket.keypoints`` runs, on generated pictures."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import swingmatch.racket
from swingmatch.errors import SetupError, SwingmatchError
from swingmatch.study.sight.settings import SightSettings

_WEIGHTS = Path(swingmatch.racket.__file__).with_name("keypoints.onnx")


def _words(words: Sequence[str] | None) -> argparse.Namespace:
    usual = SightSettings()
    parser = argparse.ArgumentParser(prog="python -m swingmatch.study.sight", description=__doc__)
    parser.add_argument(
        "--clips", type=Path, help="folder of the study's clips of TUNING, to cut pictures out of"
    )
    parser.add_argument("--minutes", type=float, default=usual.minutes, help=f"default: {usual.minutes}")
    parser.add_argument(
        "--workers", type=int, default=usual.workers, help=f"processes (default: {usual.workers})"
    )
    parser.add_argument("--kept", type=int, default=usual.kept, help=f"pictures kept (default: {usual.kept})")
    parser.add_argument(
        "--first", type=int, default=usual.first, help=f"before it starts (default: {usual.first})"
    )
    parser.add_argument("--batch", type=int, default=usual.batch, help=f"default: {usual.batch}")
    parser.add_argument("--out", type=Path, default=_WEIGHTS, help="default: the weights that the tool uses")
    return parser.parse_args(words)


def main(words: Sequence[str] | None = None) -> None:
    """Train and write the weights."""
    said = _words(words)
    try:
        if find_spec("torch") is None:
            raise SetupError("Training needs PyTorch, which is missing: run pip install 'swingmatch[learn]'.")
        _run(said)
    except SwingmatchError as error:
        raise SystemExit(str(error)) from None


def _run(said: argparse.Namespace) -> None:
    # PyTorch is there only by now.
    import torch

    from swingmatch.study.sight.clips import tuning_clips
    from swingmatch.study.sight.train import train

    settings = replace(
        SightSettings(),
        minutes=said.minutes,
        workers=said.workers,
        kept=said.kept,
        first=said.first,
        batch=said.batch,
    )
    clips = tuning_clips(said.clips) if said.clips else []
    # Asking PyTorch for the card would start CUDA before the processes are forked; NVML does not.
    device = "cuda" if torch.cuda.device_count() else "cpu"
    train(settings, clips, said.out, device)
    print(f"Written: {said.out.name}")


if __name__ == "__main__":
    main()
