"""What a change did, in the owner's words: first what was wished, then its price."""

from ridelog.analysis.energy import WHEEL_ENERGY
from ridelog.analysis.figure import HIGHER
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.verdict import BETTER, CANNOT_SAY, NOT_SHOWN, WORSE
from ridelog.core.quantity import ACCELERATION, PERCENT, TIME, amount, rough
from ridelog.core.units import SpeedUnit
from ridelog.present.words import capital, joined, within
from ridelog.report.aim import Aim, more_is_better
from ridelog.report.compare_words import headline, headline_figures, lead_words, left_open
from ridelog.report.rounding import side_words

# Which figures an aim is about, by how their names begin.
_AIMED = {
    Aim.QUICKER: ("0-", "pull_at"),
    Aim.FASTER: ("two_way", "best_", "top_speed"),
    Aim.FARTHER: (WHEEL_ENERGY,),
}
# More names than this nobody reads in a sentence; the table of figures has them. Own choice.
_MOST_NAMED = 4
_WISHED, _UNWISHED = "as wished", "not as wished"


def owner_sentence(comparison: Comparison, unit: SpeedUnit, aim: Aim | None = None) -> str:
    """Return what the change did for anyone: gains, what they are paid with, what is not shown.

    With an aim, what it is about stands first, as wished or against the wish, then the rest.
    """
    chosen = headline_figures(comparison)
    if aim is not None:
        aimed = [each for each in comparison.figures if _about(each, aim) and not each.doubt]
        known = any(_about(each, aim) for each in chosen)
        chosen += [] if known else [each for each in aimed if each.difference is not None][:1]
    shown = [each for each in chosen if each.verdict.word in (BETTER, WORSE)]
    if not shown:
        return headline(comparison, unit)
    parts = _moves(shown, comparison, unit, aim)
    parts += filter(None, [left_open(comparison, unit)])
    parts += [_not_shown(each, unit) for each in chosen if each.verdict.word == NOT_SHOWN]
    if aim is not None and not any(_about(each, aim) for each in shown):
        parts.append(f"Nothing is shown to be {_WISHED}.")
    return " ".join(parts)


def _moves(
    shown: list[Compared], comparison: Comparison, unit: SpeedUnit, aim: Aim | None
) -> list[str]:
    """Return a sentence each for what was wished, what was not, and what else gained or lost."""
    aimed = [each for each in shown if _about(each, aim)]
    rest = [each for each in shown if each not in aimed]
    wished, against = ([e for e in aimed if as_wished(e, aim) is way] for way in (True, False))
    gains, losses = ([e for e in rest if as_wished(e) is way] for way in (True, False))
    # What pays for something is told apart from what comes with it.
    also, pays = "It also" if aimed else "It", "In return it"
    paid_for = wished if aimed else gains
    groups = (
        ("As wished, it", wished),
        ("Against the wish, it", against),
        (pays if against and not wished else also, gains),
        (pays if paid_for else also, losses),
    )
    parts = [
        f"{lead} {'; it '.join(_moved(each, unit) for each in group)}."
        for lead, group in groups
        if group
    ]
    if comparison.modes is not None:
        parts[0] = f"{lead_words(comparison)} {within(parts[0])}"
    return parts


def _about(compared: Compared, aim: Aim | None) -> bool:
    """Return whether an aim is about a figure: a tamer machine about all that it turns round."""
    name, quantity = compared.figure.name, compared.quantity
    if aim is Aim.TAMER:
        return more_is_better(name, quantity, aim) is not more_is_better(name, quantity, None)
    return aim is not None and name.startswith(_AIMED[aim])


def as_wished(compared: Compared, aim: Aim | None = None) -> bool:
    """Return whether a figure moved the way that the owner wants."""
    assert compared.difference is not None
    rose = compared.difference.difference.value > 0.0
    about = aim if _about(compared, aim) else None
    wanted = more_is_better(compared.figure.name, compared.quantity, about)
    return rose is (wanted if wanted is not None else compared.terms.better == HIGHER)


def verdict_word(compared: Compared, aim: Aim | None = None) -> str:
    """Return a verdict as the owner reads it: as wished or not where his aim is about it."""
    word = compared.verdict.word
    if word in (NOT_SHOWN, CANNOT_SAY) or not _about(compared, aim):
        return word
    return _WISHED if as_wished(compared, aim) else _UNWISHED


def _moved(compared: Compared, unit: SpeedUnit) -> str:
    """Return "starts quicker: 0 to 20 km/h in 2.8 s instead of 3.2"."""
    assert compared.difference is not None
    figure, quantity = compared.figure, compared.quantity
    rose = compared.difference.difference.value > 0.0
    before, after = side_words(compared, unit)
    instead = f"{after} {quantity.label(unit)} instead of {before}"
    title = figure.title_in(unit)
    if quantity is TIME and figure.name.startswith("0-"):
        verb = "starts more slowly" if rose else "starts quicker"
        return f"{verb}: {title.removeprefix('time from ').removeprefix('time for ')} in {instead}"
    if figure.name.startswith(("two_way", "best_")):
        return f"tops out {'higher' if rose else 'lower'}: {instead}"
    if quantity is ACCELERATION and figure.name.startswith("pull_at"):
        by = compared.difference.percent
        place = title.removeprefix("pull ")
        if by is None:
            return f"pulls {'harder' if rose else 'less'} {place}: {instead}"
        size = amount(by, PERCENT, unit).partition(" (")[0]
        return f"pulls {size} {'harder' if rose else 'less'} {place}"
    verb = "uses" if figure.name == WHEEL_ENERGY else "has"
    return f"{verb} {'more' if rose else 'less'} {title}: {instead}"


def _not_shown(compared: Compared, unit: SpeedUnit) -> str:
    title, least = capital(compared.figure.title_in(unit)), compared.verdict.smallest_shown
    if least is None:
        return f"{title}: no difference shown."
    size = rough(least, compared.quantity, unit)
    return f"{title}: no difference shown; one of {size} would have shown."


def unsettled(comparison: Comparison, unit: SpeedUnit) -> str:
    """Return which figures these rides do not settle, or how many if a list were long."""
    names = [
        each.figure.title_in(unit)
        for each in comparison.figures
        if each.verdict.word in (NOT_SHOWN, CANNOT_SAY)
    ]
    if len(names) > _MOST_NAMED:
        return f"Not settled by these rides: {len(names)} of {len(comparison.figures)} figures."
    return f"Not settled by these rides: {joined(names)}." if names else ""
