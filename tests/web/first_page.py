"""What the first person waits for whom a fresh server answers: ``python -m tests.web.first_page ADDRESS COOKIE`` prints it as JSON.

A program of its own, because the process that runs the tests has long loaded everything.
"""

from __future__ import annotations

import io
import json
import sys
import time
from collections.abc import Callable
from typing import Any

from regenplant.web.application import ready_application


def main(address: str, cookie: str) -> dict[str, Any]:
    """Seconds of this process's own time for one page, and what came."""
    application = ready_application()
    answered: dict[str, str] = {}

    def start(
        status: str, headers: list[tuple[str, str]], trouble: Any = None, /
    ) -> Callable[[bytes], object]:
        answered["status"] = status
        return io.BytesIO().write

    asked = {
        "REQUEST_METHOD": "GET",
        "PATH_INFO": address,
        "SERVER_NAME": "127.0.0.1",
        "SERVER_PORT": "80",
        "HTTP_HOST": "127.0.0.1",
        "REMOTE_ADDR": "127.0.0.1",
        "HTTP_COOKIE": cookie,
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(),
        "wsgi.errors": sys.stderr,
    }
    begun = time.process_time()
    page = b"".join(application(asked, start)).decode()
    return {"took_s": time.process_time() - begun, "tanks": page.count("/tanks/K"), **answered}


if __name__ == "__main__":
    print(json.dumps(main(*sys.argv[1:3])))
