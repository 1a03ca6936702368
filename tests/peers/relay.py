"""A relay with TLS and a password, of aiosmtpd: writes each letter that it takes to its standard output as one line of JSON.

Arguments: tls | starttls, certificate, key, user, password. The first line that it prints is its port.
"""

import json
import socket
import ssl
import sys
import time

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, SMTP

manner, certificate, key, user, password = sys.argv[1:]
context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
context.load_cert_chain(certificate, key)


def authenticate(server, session, envelope, mechanism, given):
    good = given.login == user.encode() and given.password == password.encode()
    return AuthResult(success=good, handled=good)


class Take:
    async def handle_DATA(self, server, session, envelope):
        letter = {
            "tls": session.ssl is not None or manner == "tls",
            "user": bool(session.authenticated),
            "to": envelope.rcpt_tos,
            "text": envelope.content.decode("ascii"),
        }
        print(json.dumps(letter), flush=True)
        return "250 2.0.0 taken"


class Relay(Controller):
    def factory(self):
        return SMTP(
            self.handler,
            hostname="localhost",
            authenticator=authenticate,
            auth_required=True,
            # From the first byte: the layer below has done it.
            auth_require_tls=manner == "starttls",
            require_starttls=manner == "starttls",
            tls_context=context if manner == "starttls" else None,
        )


with socket.socket() as free:
    free.bind(("127.0.0.1", 0))
    port = free.getsockname()[1]
relay = Relay(
    Take(),
    hostname="127.0.0.1",
    port=port,
    ssl_context=context if manner == "tls" else None,
)
relay.start()
print(port, flush=True)
while True:
    time.sleep(60)
