"""A real mail server for tests: prints a line of JSON for itself and for each mail, and ends with its stdin.

    smtp_server.py [--port N] [--cert PEM --key PEM [--tls]] [--login USER:PASSWORD]
                   [--rcpt "451 4.3.0 later;250 OK"] [--data "silence;hangup;250 kept"]

--cert alone: STARTTLS is required; with --tls: TLS from the first byte. --rcpt: the answers to RCPT TO, one
after the other; the last one stays. --data: the same for the end of the data; silence: none, ever; hangup: none, and
the connection is cut. Each mail that came is printed, whatever was answered; it is parsed by Python's own email package.
"""

import argparse
import asyncio
import email
import email.policy
import json
import logging
import ssl
import sys
import warnings

from aiosmtpd.smtp import SMTP, AuthResult


class Mailbox:
    """Answers as it was told, and prints what it takes."""

    def __init__(self, answers, verdicts):
        self.answers = answers
        self.verdicts = verdicts

    async def handle_RCPT(self, server, session, envelope, address, rcpt_options):
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        else:
            say({"refused": answer})
        return answer

    async def handle_DATA(self, server, session, envelope):
        raw = envelope.original_content
        mail = email.message_from_bytes(raw, policy=email.policy.SMTP)
        again = email.message_from_bytes(mail.as_bytes(policy=email.policy.SMTP), policy=email.policy.SMTP)
        say({
            "from": envelope.mail_from,
            "to": envelope.rcpt_tos,
            "tls": server.transport.get_extra_info("cipher") is not None,
            "login": session.auth_data,
            "headers": [[name, str(value)] for name, value in mail.items()],
            "text": mail.get_content().replace("\r\n", "\n"),
            "date": mail["Date"].datetime.isoformat(),
            "defects": [repr(d) for d in mail.defects]
            + [f"{name}: {d!r}" for name, value in mail.items() for d in value.defects],
            "changed_by_writing_again": [
                f"{name}: {before!r} became {after!r}"
                for (name, before), (_, after) in zip(
                    [*mail.items(), ("text", mail.get_content())], [*again.items(), ("text", again.get_content())])
                if before != after
            ],
            "longest_line": max(len(line) for line in raw.split(b"\r\n")),
            "bare_line_ends": raw.replace(b"\r\n", b"").count(b"\n") + raw.replace(b"\r\n", b"").count(b"\r"),
            "ascii": raw.isascii(),
        })
        verdict = self.verdicts.pop(0) if len(self.verdicts) > 1 else self.verdicts[0]
        if verdict == "silence":
            await asyncio.Event().wait()
        if verdict == "hangup":
            server.transport.abort()
        return verdict


def say(line):
    print(json.dumps(line), flush=True)


def protocol(given, context):
    options = {}
    if given.login:
        wanted = tuple(part.encode() for part in given.login.split(":"))

        def check(server, session, envelope, mechanism, data):
            right = (data.login, data.password) == wanted
            return AuthResult(success=right, handled=right, auth_data=data.login.decode())

        options = {"authenticator": check, "auth_required": True, "auth_require_tls": not given.tls}
    starttls = context if not given.tls else None
    return SMTP(Mailbox(given.answers, given.verdicts), hostname="localhost", tls_context=starttls,
                require_starttls=starttls is not None, **options)


async def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--cert")
    parser.add_argument("--key")
    parser.add_argument("--tls", action="store_true")
    parser.add_argument("--login")
    parser.add_argument("--rcpt", default="250 OK")
    parser.add_argument("--data", default="250 kept")
    given = parser.parse_args()
    given.answers = given.rcpt.split(";")
    given.verdicts = given.data.split(";")
    context = None
    if given.cert:
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(given.cert, given.key)
    loop = asyncio.get_running_loop()
    server = await loop.create_server(
        lambda: protocol(given, context), "127.0.0.1", given.port, ssl=context if given.tls else None)
    say({"port": server.sockets[0].getsockname()[1]})
    await loop.run_in_executor(None, sys.stdin.read)


# Refused handshakes and logins are what some tests want.
logging.disable()
warnings.simplefilter("ignore")
asyncio.run(main())
