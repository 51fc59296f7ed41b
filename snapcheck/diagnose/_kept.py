"""Dictionaries that were made are kept: in memory, and in a folder where one is asked for."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from snapcheck import __version__
from snapcheck.board import Design, design_to_json
from snapcheck.datafiles import read_bytes
from snapcheck.diagnose._dictionary import Dictionary, dictionary, spots_of
from snapcheck.diagnose._faults import Fault, designed, faults_of
from snapcheck.diagnose._plan import Plan
from snapcheck.diagnose._priors import Priors
from snapcheck.diagnose._wiring import split
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.outfiles import write_whole
from snapcheck.simulate import Simulator
from snapcheck.words import active_language, system_says, tr

_KEPT: OrderedDict[str, Dictionary] = OrderedDict()
_MOST_KEPT = 8
_MOST_MB = 64
_ARRAYS = ("fault_of", "degree_of", "share", "mean", "slope", "source_ohm", "signal", "loose")

_NUMBERS = ("settings", "span", "periods")


def kept_dictionary(
    design: Design,
    kit: Kit,
    simulator: Simulator,
    priors: Priors,
    *,
    others: Sequence[Fault] = (),
    folder: Path | None = None,
) -> Dictionary:
    """The dictionary of a board, made once.

    Args:
        others: more faults; such dictionaries are not written to the folder.
        folder: where to keep it beyond the end of the program; only arrays of numbers are written.

    Raises:
        SimulationError: the board itself cannot be calculated.
        InputError: the folder cannot be written.
    """
    key = _key(design, kit, priors, others)
    if key in _KEPT:
        _KEPT.move_to_end(key)
        return _KEPT[key]
    file = None if folder is None or others else folder / f"faults-{key[:24]}.npz"
    found = None if file is None or not file.exists() else _read(file, design, kit, priors)
    if found is None:
        found = dictionary(design, kit, simulator, priors, others=others)
        if file is not None:
            _write(file, found)
    _KEPT[key] = found
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)
    return found


def _key(design: Design, kit: Kit, priors: Priors, others: Sequence[Fault]) -> str:
    """Changes with everything that the dictionary depends on; also with the language, as it holds
    sentences."""
    told = [__version__, active_language(), design_to_json(design), repr(dict(kit.kinds)), repr(priors)]
    told += [repr((fault.key, fault.weight)) for fault in others]
    return hashlib.sha256(json.dumps(told, default=str, sort_keys=True).encode()).hexdigest()


def _write(file: Path, d: Dictionary) -> None:
    arrays = {name: getattr(d, name) for name in _ARRAYS if getattr(d, name) is not None}
    wanted = d.plan.wanted
    numbers = np.array([wanted.index(setting.conditions) for setting in d.settings])
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        settings=numbers,
        span=np.array([d.span_V]),
        periods=np.array([d.plan.periods, d.plan.doubtful]),
        **arrays,
    )
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(file, buffer.getvalue())
    except OSError as error:
        raise InputError(
            tr("cannot be written: {why}.", why=system_says(error)), place=file,
            way_out=tr("Choose another place for the file."),
        ) from None  # fmt: skip


def _read(file: Path, design: Design, kit: Kit, priors: Priors) -> Dictionary | None:
    """What was kept; None where it is damaged or of another shape: it is then made again."""
    raw = read_bytes(file, _MOST_MB * 1_000_000)
    try:
        with np.load(io.BytesIO(raw), allow_pickle=False) as data:
            arrays = {name: data[name] for name in (*_ARRAYS, *_NUMBERS) if name in data}
    except (ValueError, OSError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    if not {*_ARRAYS, *_NUMBERS} - {"signal"} <= set(arrays):
        return None
    wiring = split(design.board, kit)
    faults = (designed(priors.designed), *faults_of(wiring, priors))
    periods, doubtful = (int(n) for n in arrays["periods"])
    plan = replace(Plan.of(design, wiring, priors), periods=periods, doubtful=bool(doubtful))
    spots = spots_of(wiring)
    numbers = [int(n) for n in arrays["settings"]]
    shape = (len(numbers), len(arrays["fault_of"]), len(spots))
    good = (
        all(arrays[name].shape == shape for name in ("mean", "source_ohm", "loose"))
        and arrays["slope"].shape == (*shape, len(plan.steps))
        and set(arrays["fault_of"].tolist()) == set(range(len(faults)))
        and all(0 <= n < len(plan.wanted) for n in numbers)
    )
    if not good:
        return None
    return Dictionary(
        design, wiring, priors, plan, faults,
        settings=tuple(plan.setting(plan.wanted[n]) for n in numbers),
        varied=tuple(plan.steps), spots=spots, span_V=float(arrays["span"][0]),
        fault_of=arrays["fault_of"], degree_of=arrays["degree_of"], share=arrays["share"],
        mean=arrays["mean"], slope=arrays["slope"], source_ohm=arrays["source_ohm"],
        signal=arrays.get("signal"), loose=arrays["loose"],
    )  # fmt: skip
