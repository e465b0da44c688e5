"""What the operating system must bring: shared libraries, a font, a virtual display.

Used by bootstrap.py alone, and like it in syntax that every Python 3 can read. Only Linux is looked
at: the wheels for macOS and Windows bring everything themselves.
"""

import os
import shutil
import subprocess
import sys

# Shared library -> the Debian and Ubuntu package that holds it: everything outside the wheels that
# Qt's xcb and Wayland plugins link to, found by running ldd on them.
PACKAGE_OF = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libX11-xcb.so.1": "libx11-xcb1",
    "libX11.so.6": "libx11-6",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libstdc++.so.6": "libstdc++6",
    "libwayland-client.so.0": "libwayland-client0",
    "libwayland-cursor.so.0": "libwayland-cursor0",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-render.so.0": "libxcb-render0",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-shm.so.0": "libxcb-shm0",
    "libxcb-sync.so.1": "libxcb-sync1",
    "libxcb-util.so.1": "libxcb-util1",
    "libxcb-xfixes.so.0": "libxcb-xfixes0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxcb.so.1": "libxcb1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libz.so.1": "zlib1g",
}
FONT_PACKAGE = "fonts-dejavu-core"
FONT_FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "~/.fonts", "~/.local/share/fonts")


def on_linux():
    # type: () -> bool
    return sys.platform.startswith("linux")


def has_display():
    # type: () -> bool
    """Say whether a window can be shown: always assumed away from Linux."""
    return not on_linux() or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def window_plugin():
    # type: () -> str
    """Give the name of the Qt plugin that would draw a window on this display."""
    only_wayland = os.environ.get("WAYLAND_DISPLAY") and not os.environ.get("DISPLAY")
    return "wayland" if only_wayland else "xcb"


def missing_for(qt_plugin, site_packages):
    # type: (str, str) -> list[str]
    """Give the packages (or libraries, where no package is known) that a Qt plugin lacks here."""
    plugin = "libq%s.so" % qt_plugin
    path = os.path.join(site_packages, "PySide6", "Qt", "plugins", "platforms", plugin)
    if not on_linux() or not shutil.which("ldd"):
        return []
    listing = subprocess.Popen(
        ["ldd", path], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, universal_newlines=True
    ).communicate()[0]
    return packages_of(unresolved(listing))


def unresolved(ldd_listing):
    # type: (str) -> list[str]
    """Give the libraries that ldd's listing marks as not found."""
    return [line.split()[0] for line in ldd_listing.splitlines() if line.endswith("=> not found")]


def packages_of(libraries):
    # type: (list[str]) -> list[str]
    """Give the packages that hold these libraries; a library of no known package stays itself."""
    return sorted({PACKAGE_OF.get(library, library) for library in libraries})


def missing_font():
    # type: () -> list[str]
    """Give the font package when no scalable font is found: Qt's wheels bring none."""
    for folder in FONT_FOLDERS:
        for _, _, names in os.walk(os.path.expanduser(folder), followlinks=True):
            if any(name.lower().endswith((".ttf", ".otf", ".ttc", ".pfb")) for name in names):
                return []
    return [FONT_PACKAGE] if on_linux() else []


def missing_programs(programs):
    # type: (list[str]) -> list[str]
    """Give the packages of the programs not on the path: both are the name in lower case."""
    return [program.lower() for program in programs if on_linux() and not shutil.which(program)]


def install_command(packages):
    # type: (list[str]) -> str
    """Give the line that installs the packages, for the user to type."""
    names = " ".join(packages)
    if not on_debian():
        return "the system's package manager (on Debian: apt-get install %s)" % names
    return ("" if is_root() else "sudo ") + "apt-get install " + names


def install(packages, purpose):
    # type: (list[str], str) -> bool
    """Install packages where that is allowed, after saying which and what for; tell if it worked."""
    if not (on_debian() and is_root()):
        return False
    print("Installing system packages for %s: %s" % (purpose, " ".join(packages)))
    sys.stdout.flush()
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    for words in (["update"], ["install", "-y", "--no-install-recommends"] + packages):
        words = ["apt-get", "-qq", "-o", "Dpkg::Use-Pty=0"] + words
        if subprocess.call(words, env=environment, stdin=subprocess.DEVNULL):
            print("The system packages could not be installed (apt-get's message is above).")
            return False
    return True


def on_debian():
    # type: () -> bool
    return os.path.exists("/etc/debian_version") and bool(shutil.which("apt-get"))


def is_root():
    # type: () -> bool
    return hasattr(os, "geteuid") and os.geteuid() == 0
