"""Runs a command once for each place at which it writes, each time in a child that is killed there.

    python killing.py FOLDER TARGET MODULE:COMMAND ARGUMENT...

`FOLDER` is copied to `TARGET/1`, `TARGET/2` and so on. In the n-th copy the command dies at the n-th place: just
before or just after a call that opens, changes, renames, removes or forces a file, or with half of its bytes
written. `{}` in an argument is the copy. Prints, as JSON, the place each child died at; the last child got
through alive, and its place is null.
"""

from __future__ import annotations

import fcntl
import importlib
import io
import json
import os
import shutil
import signal
import sys
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

if TYPE_CHECKING:
    from collections.abc import Callable

CALLS = [(os, name) for name in ("fchmod", "fchown", "fsync", "replace", "rename", "unlink", "truncate", "open")]
CALLS.append((fcntl, "flock"))


class Executioner:
    """Counts the places, and kills its process at one of them."""

    def __init__(self, place: int, pipe: int) -> None:
        self.left = place
        self.pipe = pipe

    def pass_by(self, name: str) -> None:
        self.left -= 1
        if self.left == 0:
            WRITE(self.pipe, name.encode())
            os.kill(os.getpid(), signal.SIGKILL)

    def around(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **options: Any) -> Any:
            self.pass_by(f"before {name}")
            result = real(*arguments, **options)
            self.pass_by(f"after {name}")
            return result

        return call

    def opening(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **options: Any) -> Any:
            file = real(*arguments, **options)
            if file.writable():
                self.pass_by("after opening")
                write = file.write

                def in_halves(content: Any) -> int:
                    write(content[: len(content) // 2])
                    file.flush()
                    self.pass_by("half written")
                    write(content[len(content) // 2 :])
                    return len(content)

                # Python's own files take no attributes, so the file is wrapped.
                return Halved(file, in_halves)
            return file

        return call


class Halved:
    """A file that writes in halves."""

    def __init__(self, file: Any, write: Callable[[Any], int]) -> None:
        self._file = file
        self.write = write

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()


WRITE = os.write


def run(place: int, pipe: int, command: Any, arguments: list[str]) -> None:
    executioner = Executioner(place, pipe)
    for module, name in CALLS:
        setattr(module, name, executioner.around(name, getattr(module, name)))
    io.open = executioner.opening(io.open)
    command.main(arguments, standalone_mode=False)


def main() -> None:
    folder, target, name, *arguments = sys.argv[1:]
    module, _, attribute = name.partition(":")
    command = getattr(importlib.import_module(module), attribute)
    died = []
    for place in count(1):
        copy = Path(target) / str(place)
        shutil.copytree(folder, copy)
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            sys.stdout = io.StringIO()
            run(place, writing, command, [argument.replace("{}", str(copy)) for argument in arguments])
            os._exit(0)
        os.close(writing)
        _, status = os.waitpid(child, 0)
        said = os.read(reading, 100).decode()
        os.close(reading)
        if os.WIFEXITED(status):
            if os.WEXITSTATUS(status):
                sys.exit(f"{place}: the command failed")
            died.append(None)
            break
        died.append(said)
    json.dump(died, sys.stdout)


if __name__ == "__main__":
    main()
