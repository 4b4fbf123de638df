"""The command `graftvigil`, started before it is asked for.

Starting it takes a second, and pages show a hundred. So one process loads every module and waits;
whoever asks hands over words, folder, environment and the three open files, a child is forked, and
it runs the same `main` as the command does, with its exit code. Nothing else is different.

    ready_command.py serve SOCKET
    ready_command.py ask SOCKET WORDS...
"""

from __future__ import annotations

import json
import os
import socket
import sys


def serve(path: str) -> None:
    """Wait for whoever asks, and fork for each."""
    import importlib
    import pkgutil
    import signal

    import api.cli

    for module in pkgutil.walk_packages(api.__path__, "api."):
        if ".migrations." not in module.name and not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listening:
        listening.bind(path)
        listening.listen(20)
        print("ready", flush=True)
        while True:
            asked, _ = listening.accept()
            if os.fork() == 0:
                listening.close()
                signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                os._exit(answer(asked))
            asked.close()


def answer(asked: socket.socket) -> int:
    """Run one command in this process, which ends with it."""
    from api.cli.main import main

    body, files, _, _ = socket.recv_fds(asked, 1 << 20, 3)
    said = json.loads(body)
    for own, given in enumerate(files):
        os.dup2(given, own)
        os.close(given)
    os.chdir(said["folder"])
    os.environ.clear()
    os.environ.update(said["environment"])
    sys.argv = ["graftvigil", *said["words"]]
    try:
        code = main(said["words"])
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    sys.stdout.flush()
    sys.stderr.flush()
    asked.sendall(b"%d\n" % code)
    return code


def ask(path: str, words: list[str]) -> int:
    """Have it run, and return its exit code."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.connect(path)
        # Without pathlib, which takes longer to load than all the rest.
        folder = os.getcwd()  # noqa: PTH109
        said = {"words": words, "folder": folder, "environment": dict(os.environ)}
        socket.send_fds(line, [json.dumps(said).encode()], [0, 1, 2])
        heard = line.makefile().readline()
        return int(heard) if heard else 1  # it broke, and said how


if __name__ == "__main__":
    if sys.argv[1] == "serve":
        serve(sys.argv[2])
    else:
        sys.exit(ask(sys.argv[2], sys.argv[3:]))
