"""A service with two ports in a process of its own."""

import ssl
import urllib.request

import pytest
from fastapi.testclient import TestClient

from service.web.app import create_app
from tests.server.conftest import settings_in
from tests.server.running import Running, free_port


class TwoPorts(Running):
    """``https`` is the second port's address; ``trusting()`` is what a phone has that took the certificate."""

    def __init__(self, folder, **options):
        self.secure_port = free_port()
        self.https = f"https://localhost:{self.secure_port}"
        super().__init__(folder, lan=1, https_port=self.secure_port, **options)

    def trusting(self):
        return trusting(fetch(f"{self.url}/trust/ca.crt").read())


def trusting(der):
    context = ssl.create_default_context(cadata=der)
    context.verify_flags |= ssl.VERIFY_X509_STRICT  # RFC 5280's rules, as the ssl module's documentation says
    return context


def fetch(url, context=None, headers=None):
    handlers = [urllib.request.ProxyHandler({})]
    if context is not None:
        handlers.append(urllib.request.HTTPSHandler(context=context))
    return urllib.request.build_opener(*handlers).open(urllib.request.Request(url, headers=headers or {}), timeout=10)


@pytest.fixture(scope="module")
def two_ports(tmp_path_factory):
    with TwoPorts(tmp_path_factory.mktemp("two")) as running:
        yield running


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """A service in this process, for this computer alone."""
    with TestClient(create_app(settings_in(tmp_path_factory.mktemp("alone")))) as c:
        yield c
