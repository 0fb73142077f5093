"""Everything put together: the commands, and the one that opens the workshop page."""

import os

# A ride's matrices are small: more threads wait for each other longer than they work, by up to
# five times the processor time on a busy machine, and split sums differently on each machine. Read
# when the linear algebra is loaded, which is later.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from ridelog.cli.main import app, run  # noqa: E402  # loads only after the line above
from ridelog.web.serve import register  # noqa: E402

register(app)


def main(arguments: list[str] | None = None) -> None:
    """Run the process's or the given command line; leave with 0 done, 1 no answer, 2 wrong use."""
    run(arguments)


if __name__ == "__main__":
    main()
