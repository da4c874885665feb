"""``python -m borelog.demo.pictures OUT [NAME ...]``: draw the sample pictures."""

from __future__ import annotations

import argparse
import sys

from borelog.demo.pictures.catalogue import SCENES
from borelog.demo.pictures.rendered import PictureError
from borelog.demo.pictures.samples import write_samples


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m borelog.demo.pictures",
        description="Draw the sample pictures with their ground truth.",
    )
    parser.add_argument("out", metavar="OUT", help="folder to write to")
    parser.add_argument("names", metavar="NAME", nargs="*", help="only these scenes (and no film)")
    parser.add_argument("--no-film", action="store_true", help="leave the AVI out")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.names if name not in SCENES]
    if unknown:
        parser.error(f"no scene {', '.join(unknown)}; there are {', '.join(SCENES)}")
    try:
        write_samples(
            options.out,
            options.names or None,
            film=not (options.no_film or options.names),
            tell=lambda name: print(name, flush=True),
        )
    except PictureError as error:
        print(error, file=sys.stderr)
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
