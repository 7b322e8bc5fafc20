"""A receiver that takes nothing without a valid signature (http-message-signatures, which is not ours).

Arguments: the key's name and the key. Writes each request as one line of JSON, with the parts that its signature covers;
one that is not valid is answered 401.
"""

import json
import sys
from http.server import BaseHTTPRequestHandler, HTTPServer

from http_message_signatures import HTTPMessageVerifier, HTTPSignatureKeyResolver, InvalidSignature, algorithms

NAME, KEY = sys.argv[1:]


class Keys(HTTPSignatureKeyResolver):
    def resolve_public_key(self, key_id):
        if key_id != NAME:
            raise InvalidSignature("another key's name")
        return KEY.encode()


class Request:
    def __init__(self, handler):
        self.method = handler.command
        self.url = f"http://{handler.headers['host']}{handler.path}"
        self.headers = dict(handler.headers.items())


class Handler(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        verifier = HTTPMessageVerifier(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=Keys())
        told = {"headers": {name.lower(): value for name, value in self.headers.items()}, "body": body.decode()}
        try:
            result, = verifier.verify(Request(self), body=body)
            told["covered"] = [str(name).strip('"') for name in result.covered_components]
            status = 200
        except InvalidSignature as error:
            told["refused"] = str(error)
            status = 401
        print(json.dumps(told), flush=True)
        self.send_response(status)
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_):
        pass


server = HTTPServer(("127.0.0.1", 0), Handler)
print("listening", server.server_port, flush=True)
server.serve_forever()
