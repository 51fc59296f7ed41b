"""Where the ngspice shared library lies: found by exact name, or a loud failure with the one command."""

from __future__ import annotations

import ctypes
import importlib.util
import os
import sys
from pathlib import Path

from snapcheck.errors import MissingLibraryError
from snapcheck.words import tr

#: file names by platform, the most specific first (Debian ships only the .so.0)
_NAMES = {
    "linux": ("libngspice.so.0", "libngspice.so"),
    "darwin": ("libngspice.0.dylib", "libngspice.dylib"),
    "win32": ("ngspice.dll",),
}

#: folders beside the system's own search path
_FOLDERS = {
    "linux": (),
    "darwin": ("/opt/homebrew/lib", "/usr/local/lib", "/opt/local/lib"),
    "win32": (r"C:\Spice64_dll\dll-vs", r"C:\Program Files\Spice64_dll\dll-vs"),
}

#: the one command that installs it
INSTALL_COMMAND = {
    "linux": "sudo apt install libngspice0",
    "darwin": "brew install libngspice",
    "win32": "pyspice-post-installation --install-ngspice-dll",
}


def platform_key(platform: str = sys.platform) -> str:
    """``linux``, ``darwin`` or ``win32``; everything else is treated like Linux."""
    return platform if platform in _NAMES else "linux"


def candidates(platform: str = sys.platform) -> tuple[str, ...]:
    """Names and paths to try, in order. ``NGSPICE_LIBRARY_PATH``, where set, is the only one."""
    chosen = os.environ.get("NGSPICE_LIBRARY_PATH")
    if chosen:
        return (chosen,)
    key = platform_key(platform)
    names = list(_NAMES[key])
    folders = [Path(folder) for folder in _FOLDERS[key]]
    if key == "win32":
        spec = importlib.util.find_spec("PySpice")
        if spec is not None and spec.origin:
            home = Path(spec.origin).parent
            folders.insert(0, home / "Spice" / "NgSpice" / "Spice64_dll" / "dll-vs")
    names += [str(folder / name) for folder in folders for name in _NAMES[key] if (folder / name).exists()]
    return tuple(names)


def missing(platform: str = sys.platform) -> MissingLibraryError:
    """The error for a machine without the library; its way out is one command."""
    return MissingLibraryError(
        tr("the ngspice library is not installed, so nothing can be simulated."),
        way_out=tr(
            "Install it with: {command} (rule checks and comparison work without it).",
            command=INSTALL_COMMAND[platform_key(platform)],
        ),
    )


def find_library() -> str:
    """Name or path under which the library loads in this process.

    Raises:
        MissingLibraryError: none of the candidates loads.
    """
    for name in candidates():
        try:
            ctypes.CDLL(name)
        except OSError:
            continue
        return name
    raise missing()
