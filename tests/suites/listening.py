"""Is what a receiver sends kept whole, and is "ready" what the finished log says? On request.

    python tests/suites/listening.py --only kills disk bytes states live [--seed N] [--record NAME]
    python tests/suites/listening.py --only minutes hours [--hours 8] [--record NAME]

kills: a listener on a serial line is killed with SIGKILL at a random instant while it records;
every whole line that was sent more than a second before has to be on the disk, forced there (the
sizes at which it called fsync are noted), so that a power cut would have left it as well. disk: its
disk takes no more, by a limit on the file's size and by a small file system of its own. bytes:
thirty logs come in by a serial line, TCP and UDP; each has to be kept with its own SHA-256. states:
the same logs on their own clock; "ready" ought to come within three seconds of the moment from
which the finished log has settled, and never where that log is graded too weak. live: the same in
real time through a serial line, TCP and UDP, the first 32 seconds of each log, and what is kept has
to have the SHA-256 of what was sent.
hours: a receiver of 25 fixes a second for eight hours of its own clock, as fast as it goes: memory,
and processor time of keeping and judging; minutes: the same receiver and the whole command, in real
time. Ends with 1 if a line is lost or a log is not kept as it was.
"""

import argparse
import sys

from listened_hours import hours, in_its_own_time
from listened_lines import byte_for_byte, killed, on_a_full_disk
from listened_states import live, on_their_own_clock
from record import Record, add_options

PARTS = ("kills", "disk", "bytes", "states", "live", "minutes", "hours")


def main() -> None:
    """Do the parts that were asked for, keep their rows."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--only", nargs="+", choices=PARTS, default=PARTS)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--hours", type=float, default=8.0)
    add_options(parser, "listening")
    chosen = parser.parse_args()
    record = Record("listening", chosen, rides=chosen.kills if "kills" in chosen.only else 30)
    parts = {
        "kills": lambda: killed(chosen.kills, chosen.seed),
        "disk": lambda: on_a_full_disk(chosen.seed),
        "bytes": lambda: byte_for_byte(chosen.seed),
        "states": lambda: on_their_own_clock(chosen.seed),
        "live": lambda: live(chosen.seed),
        "hours": lambda: hours(chosen.hours),
        "minutes": lambda: in_its_own_time(),
    }
    wrong = 0
    for name in chosen.only:
        for row in parts[name]():
            record.add(part=name, **row)
            wrong += int(row.get("wrong") or 0)
    record.save()
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
