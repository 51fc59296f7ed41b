"""Finding the fault of a build that looks right: what may be wrong, what to measure, what the readings mean.

`dictionary` simulates every fault of a board, `Search` keeps what was told and measured. Nothing here asks
for a measurement of current, and none of resistance with the supply on.
"""

from snapcheck.diagnose._asks import CONTACT_WORDS, LIFTED_WORDS, Ask, Reading, Way
from snapcheck.diagnose._belief import Belief, believe, log_prior
from snapcheck.diagnose._dictionary import Dictionary, Spot, dictionary
from snapcheck.diagnose._faults import Fault, faults_of
from snapcheck.diagnose._groups import groups
from snapcheck.diagnose._kept import kept_dictionary
from snapcheck.diagnose._next import Step, candidates, effort, entropy, information, next_steps
from snapcheck.diagnose._practice import Practice, Score
from snapcheck.diagnose._priors import Priors, bundled_priors, load_priors, parse_priors
from snapcheck.diagnose._say import (
    Touch,
    ask_text,
    ask_words,
    expected_words,
    parse_ask,
    parse_reading,
    touches,
    value_words,
)
from snapcheck.diagnose._search import Outcome, Search, Suspect
from snapcheck.diagnose._specimen import Specimen
from snapcheck.diagnose._symptoms import Symptom, parse_symptom
from snapcheck.diagnose._table import ExpectedReading, expected_readings
from snapcheck.diagnose._unsure import unsure_faults
from snapcheck.diagnose._wiring import Metal, Wiring, split

__all__ = [
    "CONTACT_WORDS",
    "LIFTED_WORDS",
    "Ask",
    "Belief",
    "Dictionary",
    "ExpectedReading",
    "Fault",
    "Metal",
    "Outcome",
    "Practice",
    "Priors",
    "Reading",
    "Score",
    "Search",
    "Specimen",
    "Spot",
    "Step",
    "Suspect",
    "Symptom",
    "Touch",
    "Way",
    "Wiring",
    "ask_text",
    "ask_words",
    "believe",
    "bundled_priors",
    "candidates",
    "dictionary",
    "effort",
    "entropy",
    "expected_readings",
    "expected_words",
    "faults_of",
    "groups",
    "information",
    "kept_dictionary",
    "load_priors",
    "log_prior",
    "next_steps",
    "parse_ask",
    "parse_priors",
    "parse_reading",
    "parse_symptom",
    "split",
    "touches",
    "unsure_faults",
    "value_words",
]
