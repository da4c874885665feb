"""Signing a pack with an ssh key: OpenSSH is on every desk, so that a receiver installs nothing to verify."""

from __future__ import annotations

import os
import subprocess
import tempfile
from pathlib import Path

from borelog.pack.bag import TAG_MANIFEST
from borelog.pack.errors import PackError
from borelog.text import one_line

SPACE = "findings-pack"
_SECONDS = 60


def _run(arguments: list[str], data: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    try:
        return subprocess.run(
            ["ssh-keygen", *arguments], input=data, capture_output=True, timeout=_SECONDS, check=False
        )
    except FileNotFoundError as error:
        raise PackError("there is no ssh-keygen here; install OpenSSH, or leave the pack unsigned") from error
    except (OSError, subprocess.TimeoutExpired) as error:
        raise PackError(
            "ssh-keygen did not come to an end; a key with a passphrase needs its agent"
        ) from error


def sign(folder: Path, key: Path) -> Path:
    """Sign the tag manifest, which covers the whole pack through two hashes; returns the signature's path.

    Raises
    ------
    PackError
        If the key cannot be used.
    """
    with tempfile.TemporaryDirectory(prefix="borelog-") as desk:
        copy = Path(desk, TAG_MANIFEST)
        copy.write_bytes((folder / TAG_MANIFEST).read_bytes())
        done = _run(["-Y", "sign", "-f", os.fspath(key), "-n", SPACE, os.fspath(copy)])
        made = Path(f"{copy}.sig")
        if done.returncode != 0 or not made.is_file():
            why = (done.stderr.decode("utf-8", "replace").strip().splitlines() or ["no reason given"])[-1]
            raise PackError(
                f"the pack could not be signed ({one_line(why.replace(os.fspath(key), key.name), 120)})"
            )
        target = folder / f"{TAG_MANIFEST}.sig"
        target.write_bytes(made.read_bytes())
    return target


def verify(tag_manifest: bytes, signature: bytes, signers: Path, who: str) -> bool:
    """Whether ``who``, by a file of allowed signers, signed these bytes for a findings pack."""
    with tempfile.TemporaryDirectory(prefix="borelog-") as desk:
        made = Path(desk, "pack.sig")
        made.write_bytes(signature)
        done = _run(
            ["-Y", "verify", "-f", os.fspath(signers), "-I", who, "-n", SPACE, "-s", os.fspath(made)],
            tag_manifest,
        )
    return done.returncode == 0
