"""The screens in a browser, by the extra 'browser'. Only this machine may reach them unless somebody says otherwise.

Whoever can reach the port can read and write the logbook: there is no log-in.
"""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

from borelog.text import BorelogError, one_line

LOOPBACK = ("127.0.0.1", "::1", "localhost")


class BrowserError(BorelogError):
    """The screens cannot be shown in a browser; the text says what is missing."""

    exit_code = 2


def command_for(logbook: Path | None) -> str:
    """The command that a browser's session runs: the screens on this logbook."""
    words = [sys.executable, "-m", "borelog.tui.browser", *([str(logbook)] if logbook else [])]
    return shlex.join(words)


def check_host(host: str, exposed: bool, port: int = 8000) -> None:
    """Refuse an address that others can reach, unless that was said in so many words; and a port that is none."""
    if not 0 < port < 65536:
        raise BrowserError(f"{port} is no port: choose one from 1024 to 65535")
    if host not in LOOPBACK and not exposed:
        raise BrowserError(
            f"{one_line(host, 40)} can be reached by others, and there is no log-in: whoever reaches it reads and "
            "writes the logbook. Use 127.0.0.1, or say --exposed if that is meant"
        )


def serve(
    logbook: Path | None = None, host: str = "127.0.0.1", port: int = 8000, exposed: bool = False
) -> None:
    """Serve the screens until stopped with ctrl+c.

    Raises
    ------
    BrowserError
        Without the extra, or for an address others can reach.
    """
    check_host(host, exposed, port)
    try:
        from textual_serve.server import Server
    except ImportError as error:
        raise BrowserError(
            "showing the screens in a browser needs the extra: pip install 'borelog[browser]'"
        ) from error
    Server(command_for(logbook), host=host, port=port, title="borelog").serve()


def main(arguments: list[str]) -> int:
    """Run the screens themselves, as the browser's session does."""
    from borelog.acts.bench import open_bench
    from borelog.tui.app import run

    bench = open_bench(Path(arguments[0]) if arguments else None)
    try:
        run(bench)
    finally:
        bench.journal.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
