"""The ways in: this computer's names, the second port with TLS, the page that says how to trust it, the demo beside it.

It decides nothing about who may come in: that is the guard's.
"""
