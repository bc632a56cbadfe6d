"""One file a command; `service.cli` names them."""
