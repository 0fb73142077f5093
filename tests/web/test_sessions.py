"""PairingCodes, sessions and limits, on a clock that the test moves."""

from ridelog.web.admission import (
    CODE_LIFE_S,
    PairingCodes,
    RateLimiter,
    Sessions,
    WrongTries,
)


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


def test_wrong_codes_never_cost_the_owner_the_code() -> None:
    codes = PairingCodes()
    code = codes.new()
    for _ in range(1000):
        assert not codes.use("AAAAAAAA" if code != "AAAAAAAA" else "BBBBBBBB")
    assert codes.use(code)
    assert not PairingCodes().use("") and not PairingCodes().use("--------")


def test_who_guesses_waits_longer_each_time_and_nobody_else_does() -> None:
    clock = Clock()
    tries = WrongTries(clock)
    waits = []
    for _ in range(14):
        tries.note("guesser", right=False)
        waits.append(tries.wait_s("guesser"))
        assert tries.wait_s("owner") == 0.0
        clock.now += waits[-1]
        assert tries.wait_s("guesser") == 0.0
    # Three are free, then the wait doubles, ten minutes at most.
    assert waits == [0, 0, 0, 2, 4, 8, 16, 32, 64, 128, 256, 512, 600, 600]
    # So few of 31**8 codes are tried in the life of one.
    assert sum(sum(waits[:k]) <= CODE_LIFE_S for k in range(len(waits))) == 12


def test_a_right_code_or_an_hour_wipes_out_wrong_ones() -> None:
    clock = Clock()
    tries = WrongTries(clock)
    for _ in range(5):
        tries.note("a", right=False)
        tries.note("b", right=False)
    tries.note("a", right=True)
    assert tries.wait_s("a") == 0.0 and tries.wait_s("b") == 4.0
    clock.now += 3601.0
    tries.note("b", right=False)
    assert tries.wait_s("b") == 0.0


def test_a_telephones_session_is_no_browser_of_this_machine_and_ends() -> None:
    clock = Clock()
    sessions = Sessions(clock)
    session = sessions.of_a_telephone()
    assert sessions.find(session.key, local=False) is session
    assert sessions.find(session.key, local=True) is None
    assert sessions.find("other", local=False) is None
    clock.now += 13 * 3600.0
    assert sessions.find(session.key, local=False) is None


def test_a_browser_of_this_machine_proves_itself_and_has_a_token_of_its_own() -> None:
    sessions = Sessions()
    one, other = sessions.of_this_machine(), sessions.of_this_machine()
    assert sessions.find(one.key, local=True) == one and one.token != other.token
    assert sessions.find(one.key, local=False) is None
    name, _, sign = one.key.partition(".")
    for forged in (name, f"{name}.", f"{name}.{'0' * 64}", f"x{one.key}", f"{name}x.{sign}", "."):
        assert sessions.find(forged, local=True) is None, forged
    assert Sessions().find(one.key, local=True) is None, "a server's keys are its own"


def test_those_that_come_later_push_nobody_out() -> None:
    sessions = Sessions()
    first, phone = sessions.of_this_machine(), sessions.of_a_telephone()
    for _ in range(2_000):
        sessions.of_this_machine()
    assert sessions.find(first.key, local=True) == first
    assert sessions.find(phone.key, local=False) is phone
    # Of telephones, each of which brought a code of the owner's, five hundred are kept.
    for _ in range(500):
        sessions.of_a_telephone()
    assert sessions.find(phone.key, local=False) is None


def test_a_bucket_empties_and_refills() -> None:
    clock = Clock()
    limits = RateLimiter(3, 60.0, clock)
    assert [limits.allow("a") for _ in range(4)] == [True, True, True, False]
    assert limits.allow("b"), "each client has its own"
    clock.now += 21.0
    assert [limits.allow("a") for _ in range(2)] == [True, False]
