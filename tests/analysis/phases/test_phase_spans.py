"""Short spans give way to their longer neighbours."""

import numpy as np

from ridelog.analysis.phases.measure import PhaseSpan, without_short

KINDS = ("steady", "pull", "turning", "braking")


def spans_of(kinds: list[str], lengths_s: list[float]) -> list[PhaseSpan]:
    ends = np.cumsum([0.0, *lengths_s]).tolist()
    return [PhaseSpan(*one) for one in zip(kinds, ends[:-1], ends[1:], strict=True)]


def random_spans(rng: np.random.Generator, count: int) -> list[PhaseSpan]:
    kinds = [KINDS[0]]
    while len(kinds) < count:
        kinds.append(str(rng.choice([kind for kind in KINDS if kind != kinds[-1]])))
    # Whole numbers of instants, so that equal lengths occur.
    return spans_of(kinds, [float(n) for n in rng.integers(1, 20, count)])


def one_by_one(spans: list[PhaseSpan], shortest_s: float, kept: tuple[str, ...]) -> list[PhaseSpan]:
    """The same said plainly: look through all of them each time."""
    while len(spans) > 1:
        lengths = [np.inf if one.kind in kept else one.end_s - one.start_s for one in spans]
        short = int(np.argmin(lengths))
        if lengths[short] >= shortest_s:
            break
        beside = [place for place in (short - 1, short + 1) if 0 <= place < len(spans)]
        longer = max(beside, key=lambda place: spans[place].end_s - spans[place].start_s)
        spans[longer].start_s = min(spans[longer].start_s, spans[short].start_s)
        spans[longer].end_s = max(spans[longer].end_s, spans[short].end_s)
        del spans[short]
        merged: list[PhaseSpan] = []
        for span in spans:
            if merged and merged[-1].kind == span.kind:
                merged[-1].end_s = span.end_s
            else:
                merged.append(span)
        spans = merged
    return spans


def test_same_as_looking_through_all_of_them_each_time() -> None:
    for seed in range(60):
        count = 1 + seed
        plain = one_by_one(random_spans(np.random.default_rng(seed), count), 8.0, ("braking",))
        quick = without_short(random_spans(np.random.default_rng(seed), count), 8.0, ("braking",))
        assert quick == plain


def test_what_is_kept_stays_however_short() -> None:
    kinds = ["steady", "braking", "pull"]
    assert without_short(spans_of(kinds, [5.0, 0.1, 5.0]), 0.8, ("braking",)) == spans_of(
        kinds, [5.0, 0.1, 5.0]
    )
    joined = without_short(spans_of(kinds, [5.0, 0.1, 6.0]), 0.8, ())
    assert [(one.kind, one.start_s) for one in joined] == [("steady", 0.0), ("pull", 5.0)]


def test_a_single_short_span_stays() -> None:
    assert without_short([PhaseSpan("steady", 0.0, 0.1)], 0.8, ()) == [
        PhaseSpan("steady", 0.0, 0.1)
    ]
    assert without_short([], 0.8, ()) == []
