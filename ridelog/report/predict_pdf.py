"""A prediction on one page of paper: the figures that an owner asks for, pictures, basis."""

import json

from ridelog.compare.matching import Rides
from ridelog.compare.predicted import MeasuredAfter, agreements
from ridelog.core.units import SpeedUnit
from ridelog.machine.predict import Prediction
from ridelog.report.letterhead import Letterhead
from ridelog.report.pdf import NO_DAY, last_day, one_page, plain_svg
from ridelog.report.predict_page import now_and_after, predicted_and_measured, prediction_words
from ridelog.report.predict_plot import predict_svgs
from ridelog.report.predict_words import note_words

# What owners are shown, by how the names begin; the page holds every figure. Own choice.
_SHOWN = (
    "top_speed", "0-", "pull_at_2", "climb_at_8", "energy_at_", "range_at_", "stopping_distance",
    "tip_over", "battery_current", "motor_current",
)  # fmt: skip
# Notes beyond these stand on the page: own choice, what finds room.
_MOST_NOTES = 8


def predict_pdf(
    prediction: Prediction,
    unit: SpeedUnit,
    document: bytes,
    rides: Rides,
    after: MeasuredAfter | None = None,
    *,
    letterhead: Letterhead | None = None,
    note: str = "",
    paper: str = "a4",
) -> tuple[bytes, str]:
    """Return a prediction as PDF, and a sentence if it had to do without something.

    ``document`` is the prediction as JSON, which the paper carries; ``rides`` give its day. Equal
    input gives equal bytes.
    """
    head = letterhead or Letterhead()
    words = prediction_words(prediction, unit, after, head, note)
    tables = []
    chosen = [one for one in prediction.figures if _is_shown(one.figure.name)]
    if after is not None:
        tables.append(predicted_and_measured(prediction, unit, after))
        measured = {one.name for one in agreements(prediction, after)}
        chosen = [one for one in chosen if one.figure.name not in measured]
    tables.append(now_and_after(prediction, unit, chosen))
    drawn = predict_svgs(prediction, unit, after)
    told = {
        **words,
        "tables": tables,
        "notes": note_words(prediction, unit, chosen)[:_MOST_NOTES],
        "labels": [label for _, label in drawn],
    }
    inputs = {
        "words": json.dumps(told, ensure_ascii=False),
        "paper": paper,
        "result": document.decode("utf-8"),
        "day": last_day(rides) or NO_DAY,
        **{f"picture{number}": plain_svg(svg) for number, (svg, _) in enumerate(drawn)},
    }
    return one_page("prediction.typ", *head.beside(inputs))


def _is_shown(name: str) -> bool:
    return name.startswith(_SHOWN)
