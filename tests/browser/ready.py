"""A process with all imports done, of which every line it is told makes a web server: by a fork.

Most of a start is imports. A test that is not about the start takes a fork: the web process of
`server.serve` in the state in which it would begin, at once. Each line holds the options of the
start command, as JSON; the answer is the number of the process and the port it was given.
"""

import json
import os
import signal
import socket
import sys
from pathlib import Path

from server import serve
from server.web.templating import jinja

HOST = "127.0.0.1"


def main() -> None:
    """Fork for each line; when no more can come, what is left of them ends too."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them here
    signal.signal(signal.SIGTERM, lambda *_: None)  # the end below is for the others
    for name in jinja.list_templates():
        jinja.get_template(name)
    for line in sys.stdin:
        log, *words = json.loads(line)
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        listening.bind((HOST, 0))
        listening.listen()  # a request that comes early waits
        port = listening.getsockname()[1]
        pid = os.fork()
        if not pid:
            os._exit(served(Path(log), [*words, "--port", str(port)], listening))
        listening.close()
        print(json.dumps([pid, port]), flush=True)
    os.killpg(0, signal.SIGTERM)


def served(log: Path, words: list[str], listening: socket.socket) -> int:
    """The web process, with its own log; its exit code."""
    for number in (signal.SIGCHLD, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    written = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(written, 1)
    os.dup2(written, 2)
    return serve.main(["--host", HOST, *words, "--listen-fd", str(listening.detach())])


if __name__ == "__main__":
    main()
