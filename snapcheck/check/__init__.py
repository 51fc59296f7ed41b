"""A build held against its plan. Pure: boards in, findings and a verdict out."""

from snapcheck.check._align import Alignment, align
from snapcheck.check._changes import CellChange, Change, Nearness, apply, find_changes, nearness
from snapcheck.check._compare import compare, tell
from snapcheck.check._comparison import Comparison, Electrical, Match
from snapcheck.check._doubts import reading_questions, with_doubts
from snapcheck.check._evidence import certainty, settled_links
from snapcheck.check._follow import Followed, follow
from snapcheck.check._laid import Laid, lay
from snapcheck.check._settings import ComparisonSettings, bundled_settings, load_settings, parse_settings
from snapcheck.check._states import Given, State, States
from snapcheck.check._trial import cell_trials, changed_plans
from snapcheck.check._unsure import Tried, open_questions
from snapcheck.check._verdict import Verdict, verdict_of

__all__ = [
    "Alignment",
    "CellChange",
    "Change",
    "Comparison",
    "ComparisonSettings",
    "Electrical",
    "Followed",
    "Given",
    "Laid",
    "Match",
    "Nearness",
    "State",
    "States",
    "Tried",
    "Verdict",
    "align",
    "apply",
    "bundled_settings",
    "cell_trials",
    "certainty",
    "changed_plans",
    "compare",
    "find_changes",
    "follow",
    "lay",
    "load_settings",
    "nearness",
    "open_questions",
    "parse_settings",
    "reading_questions",
    "settled_links",
    "tell",
    "verdict_of",
    "with_doubts",
]
