"""The only room that knows HTTP: the app, its guards, the wire models, and the map from domain errors to statuses.

It decides nothing about readings or batches.
"""
