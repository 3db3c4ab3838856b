"""Reading and writing model swings on disk, checked both ways; half-written files never stay behind."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from swingmatch.errors import LibraryError
from swingmatch.library.format import Volunteer, check_text, to_arrays, to_json, to_swing
from swingmatch.stroke.swing import Swing

TEXT = "volunteer.json"


@dataclass(frozen=True)
class Library:
    """Volunteers in order of their labels; ``problems`` are sentences on folders that could not be used."""

    volunteers: tuple[Volunteer, ...]
    problems: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Volunteer]:
        return iter(self.volunteers)

    def __len__(self) -> int:
        return len(self.volunteers)

    def names(self) -> tuple[str, ...]:
        """All labels there are."""
        return tuple(volunteer.label for volunteer in self.volunteers)


def shipped_library_path() -> Path:
    """Folder of the model swings that ship with swingmatch, in an installed package or in a source checkout.

    Raises LibraryError where neither is there.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "references", package.parent / "references"):
        if any(folder.glob(f"*/{TEXT}")):
            return folder
    raise LibraryError("The model swings that come with swingmatch are missing; please install it again.")


def load_library(folder: Path | str | None = None) -> Library:
    """All volunteers under ``folder``, by default those shipped.

    A damaged volunteer does not stop the others: it is left out and named in ``problems``.

    Raises
    ------
    LibraryError
        Where the folder is missing or holds no usable volunteer.
    """
    folder = shipped_library_path() if folder is None else Path(folder)
    if not folder.is_dir():
        raise LibraryError(f"There is no folder of model swings at {folder}.")
    volunteers, problems, labels = [], [], set()
    for path in sorted(folder.glob(f"*/{TEXT}")):
        if path.parent.name.startswith("."):  # left by a write that was cut off
            continue
        try:
            volunteer = read_volunteer(path.parent)
        except LibraryError as error:
            problems.append(str(error))
            continue
        if volunteer.label.casefold() in labels:
            problems.append(
                f'{path} is left out, because another volunteer is labelled "{volunteer.label}" as well.'
            )
            continue
        labels.add(volunteer.label.casefold())
        volunteers.append(volunteer)
    if not volunteers:
        raise LibraryError(
            " ".join(problems) or f"{folder} holds no model swings (a folder each with {TEXT})."
        )
    return Library(tuple(sorted(volunteers, key=lambda v: v.label.casefold())), tuple(problems))


def read_volunteer(folder: Path | str) -> Volunteer:
    """One volunteer from its folder; LibraryError says what is wrong with it."""
    path = Path(folder) / TEXT
    try:
        text = check_text(json.loads(path.read_text(encoding="utf-8")), str(path))
    except FileNotFoundError:
        raise LibraryError(f"{path} is missing.") from None
    except OSError as error:
        raise LibraryError(f"{path} cannot be read ({error.strerror}).") from error
    except (json.JSONDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LibraryError(f"{path} is damaged: it is not readable as JSON text.") from error
    build = text["build"]
    return Volunteer(
        label=text["label"],
        hand=text["hand"],
        swings=tuple(_read_swing(path.parent, entry, text) for entry in text["swings"]),
        stature=float(build["stature_m"]),
        generated=text["generated"],
        licence=text["licence"],
        consent=text.get("consent"),
        source=str(text.get("source", "")),
        sex=text.get("sex"),
        level=str(text.get("level", "")),
        stroke=text["stroke"],
        style=text.get("style", {}),
        style_words=tuple(text.get("style_words", ())),
        proportions=build.get("proportions_of_stature", {}),
    )


def write_volunteer(folder: Path | str, volunteer: Volunteer) -> Path:
    """Write a volunteer as a new folder under ``folder`` and return it; one of the same label is replaced.

    The new folder is written aside, read back through the same checks, and only then moved into place.

    Raises
    ------
    LibraryError
        Where the volunteer would not be readable, or the disk refuses.
    """
    folder = Path(folder)
    final = folder / slug(volunteer.label)
    files = tuple(f"swing_{number}.npz" for number in range(1, len(volunteer.swings) + 1))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=".writing-", dir=folder))
    except OSError as error:
        raise LibraryError(f"The model swings cannot be written to {folder} ({error.strerror}).") from error
    try:
        fresh = aside / final.name
        fresh.mkdir()
        for name, swing in zip(files, volunteer.swings, strict=True):
            np.savez_compressed(fresh / name, **to_arrays(swing, volunteer.stature))
        text = json.dumps(to_json(volunteer, files), indent=2, ensure_ascii=False, allow_nan=False)
        (fresh / TEXT).write_text(text + "\n", encoding="utf-8")
        read_volunteer(fresh)
        if final.exists():
            final.rename(aside / "old")
        fresh.rename(final)
    except OSError as error:
        raise LibraryError(f"The model swings cannot be written to {folder} ({error.strerror}).") from error
    except ValueError as error:
        raise LibraryError(f'The volunteer "{volunteer.label}" cannot be written: {error}.') from error
    finally:
        old = aside / "old"
        if old.exists() and not final.exists():
            old.rename(final)
        shutil.rmtree(aside, ignore_errors=True)
    return final


def slug(label: str) -> str:
    """A folder name for a label: lower case, letters and digits, joined by hyphens."""
    name = "-".join(re.findall(r"[^\W_]+", label.casefold()))
    if not name:
        raise LibraryError(f'"{label}" cannot be the label of a volunteer, because it holds no letter.')
    return name


def _read_swing(folder: Path, entry: dict, text: dict) -> Swing:
    path = folder / entry["file"]
    try:
        with np.load(path, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
    except FileNotFoundError:
        raise LibraryError(f"{path} is missing, although {folder / TEXT} lists it.") from None
    except Exception as error:  # a damaged archive can fail in the zip, the deflate or the array reader alike
        raise LibraryError(f"{path} is damaged: its arrays cannot be read.") from error
    return to_swing(arrays, entry["events"], text, str(path))
