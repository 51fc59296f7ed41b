"""Runs commands where no packet gets out and every try is seen: ``closed(commands, folder)``.

The file is also the program that runs inside (``python closednet.py FOLDER``): in name spaces of its own for
network and mounts it takes all packets that anybody sends, makes everything but the folder read-only, and
runs the commands one after another. Linux only; needs the right to make name spaces.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import shutil
import socket
import struct
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
#: folders of everybody, apart from the one for temporary files, in which programs like to leave things
SHARED = ("/var/tmp", "/dev/shm")


@dataclass(frozen=True)
class Seen:
    """What the commands did.

    Attributes:
        codes: their exit codes.
        packets: whatever they sent, as "udp 127.0.0.1:53 some.host".
        files: what is left in the home folder, the folder for temporary files and the shared ones.
        output: what they printed.
    """

    codes: list[int]
    packets: list[str]
    files: list[str]
    output: str


def possible() -> bool:
    """Whether this machine lets us make the name spaces."""
    if not sys.platform.startswith("linux") or shutil.which("unshare") is None:
        return False
    return subprocess.run(["unshare", "-rnm", "true"], capture_output=True, check=False).returncode == 0


def closed(commands: list[list[str]], folder: Path, *, linger_s: float = 0, most_s: float = 300) -> Seen:
    """Run Python with each of these arguments inside `folder`, cut off from everything.

    Args:
        folder: an empty folder or one that holds what the commands work on; only it can be written.
        linger_s: so long the packets are watched at least, counted from the first command.
        most_s: so long all of it may take.
    """
    for place in _places(folder):
        place.mkdir(parents=True)
    plan = folder / "watched" / "plan.json"
    plan.write_text(json.dumps({"commands": commands, "linger_s": linger_s}))
    inside = ["unshare", "-rnm", sys.executable, __file__, str(folder)]
    done = subprocess.run(inside, capture_output=True, text=True, timeout=most_s, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    told = json.loads((folder / "watched" / "seen.json").read_text())
    return Seen(told["codes"], told["packets"], told["files"], told["output"])


# ------------------------------------------------------------ inside


def _places(folder: Path) -> list[Path]:
    """The watched folders: home, for temporary files, and one for each of the shared ones."""
    return [folder / "watched" / name for name in ("home", "tmp", *(s[1:].replace("/", "-") for s in SHARED))]


def _mount(*words: str) -> None:
    subprocess.run(["mount", *words], check=True)


def _shut(folder: Path) -> None:
    """Only the folder can be written; names are asked for by packets, and everything leads to loopback."""
    watched = folder / "watched"
    (watched / "resolv.conf").write_text("nameserver 127.0.0.1\noptions timeout:1 attempts:1\n")
    (watched / "nsswitch.conf").write_text("passwd: files\ngroup: files\nhosts: files dns\n")
    _mount("--make-rprivate", "/")
    for name in ("resolv.conf", "nsswitch.conf"):
        target = Path("/etc") / name
        if target.exists():
            _mount("--bind", str(watched / name), str(target.resolve()))
    for place, shared in zip(_places(folder)[2:], SHARED, strict=True):
        if Path(shared).is_dir():
            _mount("--bind", str(place), shared)
    _mount("--bind", str(folder), str(folder))
    _mount("-o", "remount,bind,ro", "/")
    if Path("/tmp").is_mount() and folder != Path("/tmp"):
        _mount("-o", "remount,bind,ro", "/tmp")
    os.chdir(folder)  # again: the old way leads past the new mounts
    _lead_to_loopback()


def _lead_to_loopback() -> None:
    """Bring the loopback device up and send everything there, so that no try fails before it is seen."""
    import fcntl

    up, route = 0x1, 0x1  # IFF_UP, RTF_UP
    set_address, set_flags, add_route = 0x8916, 0x8914, 0x890B  # SIOCSIFADDR, SIOCSIFFLAGS, SIOCADDRT
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as four:
        fcntl.ioctl(four, set_flags, struct.pack("16sH14x", b"lo", up))
        name, anywhere = ctypes.create_string_buffer(b"lo"), struct.pack("H14x", socket.AF_INET)
        # struct rtentry of <linux/route.h>: destination, gateway, mask, flags, name of the device
        form = "L16s16s16sHhLPhPLLH"
        where = (0, anywhere, anywhere, anywhere, route, 0, 0, 0, 0, ctypes.addressof(name), 0, 0, 0)
        fcntl.ioctl(four, add_route, struct.pack(form, *where))
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as six:
        lo = socket.if_nametoindex("lo")
        mine = socket.inet_pton(socket.AF_INET6, "2001:db8::ffff")  # packets need a source that is not ::1
        fcntl.ioctl(six, set_address, struct.pack("16sIi", mine, 128, lo))  # struct in6_ifreq
        # struct in6_rtmsg of <linux/ipv6_route.h>: destination, source, gateway, type, lengths, metric, flags
        fcntl.ioctl(
            six, add_route, struct.pack("16s16s16sIHHILIi", *[bytes(16)] * 3, 0, 0, 0, 1, 0, route, lo)
        )


def _told(packet: bytes, six: bool) -> str:
    """A packet in words, "" for what the kernel itself sends."""
    try:
        protocol, start = (packet[6], 40) if six else (packet[9], (packet[0] & 15) * 4)
        if (
            six and protocol == 58 and packet[start] == 1
        ):  # "unreachable": the packet that was meant is inside
            return _told(packet[start + 8 :], six)
        name = {6: "tcp", 17: "udp"}.get(protocol, "")
        if not name:
            return ""
        where = socket.inet_ntop(socket.AF_INET6, packet[24:40]) if six else socket.inet_ntoa(packet[16:20])
        (port,) = struct.unpack_from("!H", packet, start + 2)
        text = f"{name} {where}:{port}"
        if name == "udp" and port == 53:
            at, labels = start + 20, []
            while packet[at]:
                labels.append(packet[at + 1 : at + 1 + packet[at]].decode("ascii", "replace"))
                at += 1 + packet[at]
            text += " " + ".".join(labels)
        return text
    except (IndexError, struct.error):
        return "a packet that cannot be made out"


def _inside(folder: Path) -> None:
    watched = folder / "watched"
    plan = json.loads((watched / "plan.json").read_text())
    _shut(folder)
    packets: list[str] = []
    began = time.monotonic()

    def listen() -> None:
        with socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM, socket.htons(3)) as everything:
            while True:
                packet, (_, kind, way, *_rest) = everything.recvfrom(65535)
                if way == 4:  # PACKET_OUTGOING: what comes back by loopback is the same once more
                    told = _told(packet, kind == 0x86DD)
                    packets.extend([f"{time.monotonic() - began:.0f} s: {told}"] if told else [])

    threading.Thread(target=listen, daemon=True).start()
    surroundings = {k: v for k, v in os.environ.items() if not k.startswith(("XDG_", "MPL", "ORT_"))}
    surroundings |= {"HOME": str(watched / "home"), "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    surroundings |= dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(watched / "tmp"))
    codes, output = [], ""
    for command in plan["commands"]:
        done = subprocess.run(
            [sys.executable, *command],
            env=surroundings,
            capture_output=True,
            text=True,
            check=False,
            cwd=folder,
        )
        codes.append(done.returncode)
        output += done.stdout + done.stderr
    time.sleep(max(0.0, plan["linger_s"] - (time.monotonic() - began)))
    files = [str(p.relative_to(watched)) for place in _places(folder) for p in sorted(place.rglob("*"))]
    told = {"codes": codes, "packets": packets, "files": files, "output": output}
    (watched / "seen.json").write_text(json.dumps(told))


if __name__ == "__main__":
    _inside(Path(sys.argv[1]))
