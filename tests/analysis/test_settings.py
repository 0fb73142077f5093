"""Settings travel with a result and come back from it unchanged."""

from ridelog.analysis.settings import Settings


def test_settings_come_back_from_json() -> None:
    chosen = Settings(("0-15 km/h", "0-30 m"), 0.3048, True, ((20.0, 31.5),))
    assert Settings.from_json(chosen.as_json()) == chosen
    assert Settings.from_json({}) == Settings()
