"""The command that opens the workshop page: sockets, addresses, and the server behind them.

Heavy imports wait until the page is opened.
"""

import os
import socket
import sys
from contextlib import ExitStack, closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.core.errors import RideLogError

if TYPE_CHECKING:
    import ssl


class ServeError(RideLogError):
    """The page cannot be opened at the address that was asked for."""

    exit_status = 2


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command()(serve)


def serve(
    book: Annotated[
        Path | None,
        typer.Option(
            "--book", metavar="DIR", help="The book's folder; else the usual place for user data."
        ),
    ] = None,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes any free one.")
    ] = 8437,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Let telephones of the same network in, with a one-time code."),
    ] = False,
    unencrypted: Annotated[
        bool,
        typer.Option(
            "--unencrypted",
            help="With --lan: plain HTTP, without this machine's certificate; "
            "whoever is in the network can read along.",
        ),
    ] = False,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only say where the page is; open no browser.")
    ] = False,
) -> None:
    """Open the workshop page on this machine: drop logs, read figures, compare."""
    from ridelog.book.book import Book
    from ridelog.book.use import joined

    if unencrypted and not lan:
        raise typer.BadParameter("it says how telephones come in: give --lan with it.")
    os.umask(0o077)  # whatever the page keeps is its user's alone
    with Book(book) as opened:  # made or brought up to date before anyone asks
        folder, made = opened.folder, opened.made
    with suppress(OSError):  # one that was made by an older ridelog; or not ours to close
        folder.chmod(0o700)
    sockets = [listening("127.0.0.1", port)]
    port = int(sockets[0].getsockname()[1])
    hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
    address, fingerprint = None, ""
    contexts: dict[str, ssl.SSLContext] = {}
    if lan:
        host = lan_host()
        if host is None:
            sockets[0].close()
            raise ServeError(
                "this machine has no address in a network.", "join the workshop's network first."
            )
        sockets.append(listening(host, port))
        hosts.add(f"{host}:{port}")
        address = f"{'http' if unencrypted else 'https'}://{host}:{port}"
        if not unencrypted:
            contexts[host], fingerprint = _secured(folder, host)

    import uvicorn

    from ridelog.web.admission import PairingCodes
    from ridelog.web.app import make_app
    from ridelog.web.connections import Gate, gated
    from ridelog.web.worker import Worker

    codes, worker = PairingCodes(), Worker()
    worker.start()  # loads what it needs while the first page is read
    app = make_app(
        folder, hosts=frozenset(hosts), lan_address=address, fingerprint=fingerprint, codes=codes,
        worker=worker,
    )  # fmt: skip
    print(f"Ride book: {folder}{', begun just now' if made else ''}", file=sys.stderr)
    print(f"The workshop page is open at http://127.0.0.1:{port}/  (stop with Ctrl-C)", flush=True)
    if address:
        _show_code(address, codes.new(), fingerprint)
    config = uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, date_header=False,
        timeout_keep_alive=20, timeout_graceful_shutdown=3, loop="asyncio", ws="none",
        http=gated(Gate(), contexts), h11_max_incomplete_event_size=32 * 1024, lifespan="on",
        proxy_headers=False,  # nothing stands between: who asks is who connects
    )  # fmt: skip
    with closing(joined(folder) or ExitStack()):  # nobody makes it anew under an open page
        if sys.stdout.isatty() and not no_browser:
            _shown_soon(f"http://127.0.0.1:{port}/")
        uvicorn.Server(config).run(sockets=sockets)


def _shown_soon(address: str) -> None:
    """Open the page in this machine's browser, once the server has had time to listen."""
    import threading
    import webbrowser

    soon = threading.Timer(0.5, webbrowser.open, (address,))
    soon.daemon = True
    soon.start()


def _secured(folder: Path, host: str) -> "tuple[ssl.SSLContext, str]":
    """Return how an address is encrypted, and the fingerprint that telephones are shown."""
    import ssl

    from ridelog.web.certificate import certificate_for

    certificate = certificate_for(folder, host)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate.path)
    return context, certificate.fingerprint


def lan_host() -> str | None:
    """Return this machine's address in its network, or None without one; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # RFC 5737: an address for documentation; choosing the route sends no packet.
            probe.connect(("192.0.2.1", 9))
            host = str(probe.getsockname()[0])
        except OSError:
            return None
    return None if host.startswith("127.") or host == "0.0.0.0" else host


def listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens on an address.

    ServeError if the port is taken or may not be used.
    """
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # there it would share the port instead of reusing it
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((host, port))
        opened.listen(128)
    except OSError as error:
        opened.close()
        reason = (error.strerror or type(error).__name__).lower()
        raise ServeError(
            f"{host}:{port}: the page cannot be opened there ({reason}).",
            "close what uses the port, or choose another with --port.",
        ) from error
    return opened


def _show_code(address: str, code: str, fingerprint: str) -> None:
    """Show how the first telephone gets in; more codes are made on the page itself."""
    import segno

    print(f"For a telephone in the same network: {address}/enter with the code {code}")
    print("(one telephone, within ten minutes; more codes on the page under Telephone)")
    if fingerprint:
        print(
            "It will not know the certificate, which this machine made. Go on only if its SHA-256"
        )
        print(f"fingerprint is {fingerprint}")
    else:
        print("The connection is not encrypted: whoever is in the network can read along.")
    if sys.stdout.isatty():
        segno.make(f"{address}/enter#{code}", error="m").terminal(compact=True)
    sys.stdout.flush()
