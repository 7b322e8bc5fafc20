"""A mail server that is not ours (aiosmtpd): takes mail on loopback and writes each as one line of JSON.

Arguments: how the way is kept secret (none, starttls, implicit), then certificate and key (PEM; `-` for none), then the
name and password that it wants (`-` for none). A receiver whose address begins with `gone` is refused for good, one that
begins with `later` for now, once.
"""

import asyncio
import email
import email.header
import json
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult


class Keeper:
    def __init__(self):
        self.put_off = set()

    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("gone"):
            return "550 no such mailbox"
        if address.startswith("later") and address not in self.put_off:
            self.put_off.add(address)
            return "451 try again later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        mail = email.message_from_bytes(envelope.content)
        told = {
            "to": envelope.rcpt_tos,
            "is_tls": session.ssl is not None,
            "is_signed_in": bool(session.authenticated),
            "type": mail.get_content_type(),
            "headers": {name.lower(): str(email.header.make_header(email.header.decode_header(value)))
                        for name, value in mail.items()},
            "parts": {part.get_content_type(): part.get_payload(decode=True).decode()
                      for part in mail.walk() if not part.is_multipart()},
            "bytes": envelope.content.hex(),
        }
        print(json.dumps(told), flush=True)
        return "250 taken"


def main(tls, certificate, key, user, password):
    context = None
    if tls != "none":
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(certificate, key)

    def sign_in(server, session, envelope, mechanism, data):
        good = data.login == user.encode() and data.password == password.encode()
        return AuthResult(success=good, handled=False)

    options = {}
    if user != "-":
        options = {"authenticator": sign_in, "auth_required": True, "auth_require_tls": tls == "starttls"}
    keeper = Keeper()

    def factory():
        return SMTP(keeper, hostname="mail.example", require_starttls=tls == "starttls",
                    tls_context=context if tls == "starttls" else None, **options)

    async def serve():
        server = await asyncio.get_running_loop().create_server(
            factory, "127.0.0.1", 0, ssl=context if tls == "implicit" else None)
        print("listening", server.sockets[0].getsockname()[1], flush=True)
        await server.serve_forever()

    asyncio.run(serve())


main(*sys.argv[1:])
