#!/usr/bin/env python3
"""Takes Claymark's signed webhooks and hands each to a program, once. Python 3.9 or later, nothing else.

    receive-webhook.py --secret FILE --seen FILE [--listen 127.0.0.1:8080] [--cert PEM --key PEM] PROGRAM [ARGUMENT ...]

The program gets the JSON body on its standard input, no shell is between; when it ends with 0 the notice counts as
taken. Refused are: a wrong signature (401), what is over five minutes old or as far ahead (401), what was taken before
(409: Claymark then knows that it is there), what isn't Claymark's (400). A program that fails answers 503, and Claymark
tries again. FILE of --seen grows by a line for each notice; only its last 10,000 lines count.

Without --cert it belongs behind a server that speaks HTTPS, or on Claymark's own machine.
"""

import argparse
import hashlib
import hmac
import http.server
import ssl
import subprocess
import threading
import time

OLDEST_S = 5 * 60
LONGEST = 256 * 1024
REMEMBERED = 10_000


class Seen:
    """The ids that were taken, also before a restart."""

    def __init__(self, path):
        self.path = path
        self.lock = threading.Lock()
        try:
            with open(path, encoding="ascii") as lines:
                self.ids = dict.fromkeys(line.strip() for line in lines)
        except FileNotFoundError:
            self.ids = {}

    def once(self, name, hand_over):
        """409: taken before; 204: taken now; 503: not taken. One at a time, so that two copies can't both pass."""
        with self.lock:
            if name in self.ids:
                return 409
            if not hand_over():
                return 503
            with open(self.path, "a", encoding="ascii") as lines:
                lines.write(name + "\n")
            self.ids[name] = None
            while len(self.ids) > REMEMBERED:
                del self.ids[next(iter(self.ids))]
            return 204


def verdict(secret, headers, body, now):
    """None: it is Claymark's own, and fresh; else the status that refuses it."""
    sent, name = headers.get("Claymark-Time", ""), headers.get("Claymark-Id", "")
    signature = headers.get("Claymark-Signature", "")
    if not (sent.isascii() and sent.isdigit() and name and name.isascii() and name.isprintable()):
        return 400
    signed = f"{sent}.{name}.".encode() + body
    expected = hmac.new(secret, signed, hashlib.sha256).hexdigest()
    if not hmac.compare_digest(expected.encode(), signature.encode("ascii", "replace")):
        return 401
    return None if abs(now - int(sent)) <= OLDEST_S else 401


def handler(secret, seen, program):
    class Receiver(http.server.BaseHTTPRequestHandler):
        timeout = 20

        def do_POST(self):
            length = self.headers.get("Content-Length", "")
            if not (length.isascii() and length.isdigit() and int(length) <= LONGEST):
                return self.answer(413)
            body = self.rfile.read(int(length))
            refused = verdict(secret, self.headers, body, time.time())
            if refused:
                return self.answer(refused)
            tell = lambda: subprocess.run(program, input=body, timeout=15, check=False).returncode == 0
            try:
                return self.answer(seen.once(self.headers["Claymark-Id"], tell))
            except (OSError, subprocess.TimeoutExpired) as why:
                self.log_error("not taken: %s", why)
                return self.answer(503)

        def answer(self, status):
            self.send_response(status)
            self.send_header("Content-Length", "0")
            self.end_headers()

    return Receiver


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--secret", required=True)
    options.add_argument("--seen", required=True)
    options.add_argument("--listen", default="127.0.0.1:8080")
    options.add_argument("--cert")
    options.add_argument("--key")
    options.add_argument("program", nargs=argparse.REMAINDER)
    asked = options.parse_args()
    if not asked.program:
        options.error("name the program that tells people")
    with open(asked.secret, "rb") as file:
        secret = file.read().rstrip(b"\r\n")
    host, port = asked.listen.rsplit(":", 1)
    server = http.server.ThreadingHTTPServer((host, int(port)), handler(secret, Seen(asked.seen), asked.program))
    if asked.cert:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(asked.cert, asked.key)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    print(f"listening on port {server.server_port}", flush=True)
    server.serve_forever()


if __name__ == "__main__":
    main()
