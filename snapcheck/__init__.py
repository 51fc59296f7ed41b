"""snapcheck: check magnetic circuit-cube builds from a photo, by calculation.

For programs and notebooks (`TUTORIAL.md` beside this file walks through it)::

    import snapcheck

    result = snapcheck.check("bench.jpg", "plan.board")
    print(result.verdict.sentence)

`read`, `check`, `compare`, `rules`, `simulate`, `find`, `draw`, `layout`, `lay`, `sheet`, `so_far`, `grade`
and `grade_class` do the work and give back documented results; `fits_box`, `parts_list`, `count_cubes`,
`whole_box`, `paper_kit` and `adopt` do what comes before and after a lesson; all errors are `SnapcheckError`.
"""

import os
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

__version__ = "0.3.1"  # what it means: CHANGES.md

# onnxruntime's wheels report to their maker unless they find this when they are imported; asked later, or by
# its own disable_telemetry_events(), they report all the same (1.32, tests/cli/test_closed_network.py). Every
# process that works for snapcheck, workers and clusters included, comes through here before anything else.
os.environ["ORT_DISABLE_TELEMETRY"] = "1"

if TYPE_CHECKING:
    from snapcheck.api import Adopted as Adopted
    from snapcheck.api import BoxCheck as BoxCheck
    from snapcheck.api import BuildCheck as BuildCheck
    from snapcheck.api import BuildComparison as BuildComparison
    from snapcheck.api import BuildSheet as BuildSheet
    from snapcheck.api import ClassGrades as ClassGrades
    from snapcheck.api import Consequence as Consequence
    from snapcheck.api import CubeCount as CubeCount
    from snapcheck.api import Drawing as Drawing
    from snapcheck.api import FaultPractice as FaultPractice
    from snapcheck.api import FaultSearch as FaultSearch
    from snapcheck.api import PaperKit as PaperKit
    from snapcheck.api import PhotoReading as PhotoReading
    from snapcheck.api import RuleCheck as RuleCheck
    from snapcheck.api import Simulation as Simulation
    from snapcheck.api import SoFar as SoFar
    from snapcheck.api import Teaching as Teaching
    from snapcheck.api import adopt as adopt
    from snapcheck.api import check as check
    from snapcheck.api import compare as compare
    from snapcheck.api import corrections as corrections
    from snapcheck.api import count_cubes as count_cubes
    from snapcheck.api import draw as draw
    from snapcheck.api import expected_readings as expected_readings
    from snapcheck.api import find as find
    from snapcheck.api import fits_box as fits_box
    from snapcheck.api import grade as grade
    from snapcheck.api import grade_class as grade_class
    from snapcheck.api import lay as lay
    from snapcheck.api import layout as layout
    from snapcheck.api import paper_kit as paper_kit
    from snapcheck.api import parts_list as parts_list
    from snapcheck.api import practice as practice
    from snapcheck.api import primer as primer
    from snapcheck.api import read as read
    from snapcheck.api import rules as rules
    from snapcheck.api import sheet as sheet
    from snapcheck.api import simulate as simulate
    from snapcheck.api import so_far as so_far
    from snapcheck.api import taught_again as taught_again
    from snapcheck.api import teach as teach
    from snapcheck.api import teach_from as teach_from
    from snapcheck.api import whole_box as whole_box
    from snapcheck.board import Board as Board
    from snapcheck.board import Cell as Cell
    from snapcheck.board import Design as Design
    from snapcheck.check import Verdict as Verdict
    from snapcheck.decisions import Option as Option
    from snapcheck.decisions import Question as Question
    from snapcheck.errors import DataError as DataError
    from snapcheck.errors import InputError as InputError
    from snapcheck.errors import MissingLibraryError as MissingLibraryError
    from snapcheck.errors import PhotoError as PhotoError
    from snapcheck.errors import SimulationError as SimulationError
    from snapcheck.errors import SnapcheckError as SnapcheckError
    from snapcheck.errors import StoppedError as StoppedError
    from snapcheck.errors import StoreError as StoreError
    from snapcheck.findings import Finding as Finding
    from snapcheck.findings import Severity as Severity
    from snapcheck.kit import Kit as Kit
    from snapcheck.place import DoesNotFitError as DoesNotFitError
    from snapcheck.place import LaidBoard as LaidBoard
    from snapcheck.place import PartsAndNets as PartsAndNets
    from snapcheck.simulate import Simulator as Simulator
    from snapcheck.words import use_language as use_language

#: name -> module that has it; imported when it is asked for, so that starting costs nothing
_DOOR = {
    name: module
    for module, names in {
        "snapcheck.api": "Adopted BoxCheck BuildCheck BuildComparison BuildSheet ClassGrades Consequence "
        "CubeCount Drawing FaultPractice FaultSearch PaperKit PhotoReading RuleCheck "
        "Simulation SoFar Teaching adopt check compare corrections count_cubes draw expected_readings find "
        "fits_box grade grade_class lay layout paper_kit parts_list practice primer read rules sheet "
        "simulate so_far taught_again teach teach_from whole_box",
        "snapcheck.board": "Board Cell Design",
        "snapcheck.check": "Verdict",
        "snapcheck.decisions": "Option Question",
        "snapcheck.errors": "DataError InputError MissingLibraryError PhotoError SimulationError "
        "SnapcheckError StoppedError StoreError",
        "snapcheck.findings": "Finding Severity",
        "snapcheck.kit": "Kit",
        "snapcheck.place": "DoesNotFitError LaidBoard PartsAndNets",
        "snapcheck.simulate": "Simulator",
        "snapcheck.words": "use_language",
    }.items()
    for name in names.split()
}

__all__ = ["__version__", *_DOOR]  # noqa: PLE0604 (all of them are strings)


class _Package(ModuleType):
    """The package. Python binds a room to its name here when it is imported; `check`, `simulate`, `sheet`
    and `grade` are names of the door, too, and stay functions (rooms: ``from snapcheck.check import …``)."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _DOOR and isinstance(value, ModuleType)):
            super().__setattr__(name, value)

    def __getattr__(self, name: str) -> Any:
        if name not in _DOOR:
            raise AttributeError(f"module 'snapcheck' has no attribute '{name}'")
        from importlib import import_module

        value = getattr(import_module(_DOOR[name]), name)
        setattr(self, name, value)
        return value

    def __dir__(self) -> list[str]:
        return sorted({*self.__dict__, *_DOOR})


sys.modules[__name__].__class__ = _Package
