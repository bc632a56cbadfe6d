"""The ways in: certificates against other verifiers, two ports, launchers against their specification, the demo."""
