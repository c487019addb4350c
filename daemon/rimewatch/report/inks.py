"""The colours of documents, on a screen and on paper. None says what no word says."""

from typing import Final

from rimewatch.report.document import Tone

INK: Final = "#1d2629"
QUIET_INK: Final = "#5b686e"
RULE_INK: Final = "#d9e0e1"
BOX_INK: Final = "#f3f6f5"

INKS: Final = {
    Tone.PLAIN: INK,
    Tone.QUIET: QUIET_INK,
    Tone.GOOD: "#1f7a5c",
    Tone.DOUBTFUL: "#8a6412",
    Tone.BAD: "#b23f28",
}
