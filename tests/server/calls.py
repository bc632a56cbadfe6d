"""One client for all calls of a test to services: a client made for each call costs more than the call.

No connection is kept: a service that was killed and started again at the same port is another one.
"""

import httpx2 as httpx

HTTP = httpx.Client(limits=httpx.Limits(max_keepalive_connections=0), timeout=60)
