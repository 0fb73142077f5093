"""PairingCodes, sessions and limits, on a clock that the test moves."""

from ridelog.web.security import CODE_LIFE_S, PairingCodes, RateLimiter, Sessions


class Clock:
    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def test_a_code_works_once() -> None:
    codes = PairingCodes()
    code = codes.new()
    assert len(code) == 8 and code.isalnum()
    assert codes.use(f" {code[:4].lower()} {code[4:]}")
    assert not codes.use(code)


def test_a_code_dies_of_age_and_of_a_newer_one() -> None:
    clock = Clock()
    codes = PairingCodes(clock)
    first, second = codes.new(), codes.new()
    assert not codes.use(first)
    clock.now += CODE_LIFE_S + 0.1
    assert not codes.use(second)


def test_a_code_bears_twenty_wrong_tries() -> None:
    codes = PairingCodes()
    code = codes.new()
    for _ in range(20):
        assert not codes.use("AAAAAAAA" if code != "AAAAAAAA" else "BBBBBBBB")
    assert not codes.use(code)
    assert not PairingCodes().use("") and not PairingCodes().use("--------")


def test_sessions_belong_to_one_kind_of_client_and_end() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    session = sessions.new(local=False)
    assert sessions.find(session.key, local=False) is session
    assert sessions.find(session.key, local=True) is None
    assert sessions.find("other", local=False) is None
    clock.now += 13 * 3600.0
    assert sessions.find(session.key, local=False) is None


def test_there_are_never_more_than_500_sessions() -> None:
    sessions = Sessions()
    first = sessions.new(local=True)
    for _ in range(500):
        sessions.new(local=True)
    assert sessions.find(first.key, local=True) is None


def test_a_bucket_empties_and_refills() -> None:
    clock = Clock()
    limits = RateLimiter(3, 60.0, clock)
    assert [limits.allow("a") for _ in range(4)] == [True, True, True, False]
    assert limits.allow("b"), "each client has its own"
    clock.now += 21.0
    assert [limits.allow("a") for _ in range(2)] == [True, False]
