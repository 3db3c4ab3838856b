"""Is everything the computer must bring itself in place? One sentence when it is not.

What the wheels need from outside was found with ``ldd``: OpenCV's (4.11.0.86) links to libGL.so.1,
libgthread-2.0.so.0 and libglib-2.0.so.0, which a bare Debian or Ubuntu server lacks; everything else it
needs, down to libz, libstdc++ and libc, is part of the base system or inside the wheel. MediaPipe's (0.10.21)
brings its own libEGL and libGLESv2 and fails only because it imports OpenCV. PyAV's needs nothing.
"""

from __future__ import annotations

import importlib
import re
from types import ModuleType

from swingmatch.errors import SetupError

#: Start of a shared library's name -> Debian and Ubuntu package. Ubuntu 24.04 calls the second
#: libglib2.0-0t64, and apt finds it under the old name too.
PACKAGES: dict[str, str] = {
    "libGL": "libgl1",
    "libGLX": "libgl1",
    "libGLdispatch": "libgl1",
    "libgthread-2": "libglib2.0-0",
    "libglib-2": "libglib2.0-0",
    "libEGL": "libegl1",
    "libGLESv2": "libgles2",
    "libstdc++": "libstdc++6",
    "libgomp": "libgomp1",
    "libz": "zlib1g",
}
#: Both that a bare server lacks: naming them at once spares the user a second round.
_USUAL = ("libgl1", "libglib2.0-0")
_LIBRARY = re.compile(r"(lib[\w+\-]+(?:\.\d+)*)\.so(?:\.\d+)*")

#: Module -> name the user knows it by.
NATIVE = {"av": "PyAV", "cv2": "OpenCV", "mediapipe": "MediaPipe"}


def explain_import_error(module: str, error: ImportError) -> str:
    """One sentence for a module that cannot be imported, with the command that mends it where it is known."""
    name = NATIVE.get(module, module)
    text = str(error)
    found = _LIBRARY.search(text)
    if found is not None:
        stem = found.group(1)
        package = next(
            (p for start, p in PACKAGES.items() if re.match(rf"{re.escape(start)}(\.|$)", stem)), None
        )
        if package is None:
            return f"{name} cannot start because the system library {found.group(0)} is missing; please install it."
        packages = " ".join(_USUAL if package in _USUAL else (package,))
        return (
            f"{name} cannot start because the system library {found.group(0)} is missing; "
            f"on Debian or Ubuntu please run: sudo apt-get install {packages}"
        )
    if isinstance(error, ModuleNotFoundError):
        return (
            f"The Python package {error.name or module} is missing; please install swingmatch again with pip."
        )
    return (
        f"{name} cannot start ({text.rstrip('.')}); please install swingmatch again in a fresh environment."
    )


def load(module: str) -> ModuleType:
    """Import a module that leans on system libraries.

    Raises
    ------
    SetupError
        With the sentence of :func:`explain_import_error` when it cannot be imported.
    """
    try:
        return importlib.import_module(module)
    except ImportError as error:
        raise SetupError(explain_import_error(module, error)) from error


def check_native_libraries() -> None:
    """Import PyAV, OpenCV and MediaPipe, and raise SetupError with one sentence for the first that fails."""
    for module in NATIVE:
        load(module)
