"""Grading a class: course folder, rubric, batch, review, gradebook."""

from snapcheck.grade._attempts import unclaimed
from snapcheck.grade._batch import Entry, Progress, Result, Silent, regrade, run_batch
from snapcheck.grade._course import Course, Student, Task, load_course, read_roster
from snapcheck.grade._crew import ClusterCrew, Crew, LocalCrew
from snapcheck.grade._decide import decide, decision_text, history_lines
from snapcheck.grade._decide_all import Decided, decide_all, decisions_in
from snapcheck.grade._decided_cells import DecidedCell, Left, decided_cells, photos_of
from snapcheck.grade._facts import Facts, facts_of
from snapcheck.grade._hand_in import hand_in
from snapcheck.grade._pictures import Pictures
from snapcheck.grade._review import Choice, Review, Waiting, review
from snapcheck.grade._rubric import Rubric, load_rubric, parse_rubric, sample_rubric
from snapcheck.grade._score import Grade, Handed, grade
from snapcheck.grade._store import Decision, Store, StoredFile

__all__ = [
    "Choice",
    "ClusterCrew",
    "Course",
    "Crew",
    "Decided",
    "DecidedCell",
    "Decision",
    "Entry",
    "Facts",
    "Grade",
    "Handed",
    "Left",
    "LocalCrew",
    "Pictures",
    "Progress",
    "Result",
    "Review",
    "Rubric",
    "Silent",
    "Store",
    "StoredFile",
    "Student",
    "Task",
    "Waiting",
    "decide",
    "decide_all",
    "decided_cells",
    "decision_text",
    "decisions_in",
    "facts_of",
    "grade",
    "hand_in",
    "history_lines",
    "load_course",
    "load_rubric",
    "parse_rubric",
    "photos_of",
    "read_roster",
    "regrade",
    "review",
    "run_batch",
    "sample_rubric",
    "unclaimed",
]
