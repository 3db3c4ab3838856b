"""The sentence that a bare server gives, from the loader's own error texts."""

from __future__ import annotations

import importlib
from types import ModuleType

import pytest

from swingmatch import setup_check
from swingmatch.errors import SetupError

TAIL = "cannot open shared object file: No such file or directory"


@pytest.mark.parametrize(
    ("module", "library", "packages"),
    [
        ("cv2", "libGL.so.1", "libgl1 libglib2.0-0"),
        ("cv2", "libgthread-2.0.so.0", "libgl1 libglib2.0-0"),
        ("cv2", "libglib-2.0.so.0", "libgl1 libglib2.0-0"),
        ("mediapipe", "libGL.so.1", "libgl1 libglib2.0-0"),
        ("mediapipe", "libEGL.so.1", "libegl1"),
        ("mediapipe", "libGLESv2.so.2", "libgles2"),
    ],
)
def test_a_missing_system_library_names_its_packages(
    monkeypatch: pytest.MonkeyPatch, module: str, library: str, packages: str
) -> None:
    real = importlib.import_module

    def broken(name: str, package: str | None = None) -> ModuleType:
        if name == module:
            raise ImportError(f"{library}: {TAIL}")
        return real(name, package)

    monkeypatch.setattr(setup_check.importlib, "import_module", broken)
    with pytest.raises(SetupError) as caught:
        setup_check.check_native_libraries()
    message = str(caught.value)
    assert library in message
    assert message.endswith(f"sudo apt-get install {packages}")
    assert setup_check.NATIVE[module] in message
    assert "\n" not in message


def test_other_import_errors() -> None:
    explain = setup_check.explain_import_error
    assert "libfoo-3.so.9 is missing" in explain("cv2", ImportError(f"libfoo-3.so.9: {TAIL}"))
    missing = ModuleNotFoundError("No module named 'mediapipe'", name="mediapipe")
    assert "package mediapipe is missing" in explain("mediapipe", missing)
    assert "numpy.core.multiarray failed to import" in explain(
        "cv2", ImportError("numpy.core.multiarray failed to import")
    )


def test_this_machine_is_complete() -> None:
    setup_check.check_native_libraries()
