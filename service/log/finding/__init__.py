"""Finding again what was logged: search over batches, notes and readings; batches beside each other; sharing."""
