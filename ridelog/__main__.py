"""Everything put together: the commands, and the one that opens the workshop page."""

from ridelog.cli.main import app, run
from ridelog.web.serve import register

register(app)


def main(arguments: list[str] | None = None) -> None:
    """Run the process's or the given command line; leave with 0 done, 1 no answer, 2 wrong use."""
    run(arguments)


if __name__ == "__main__":
    main()
